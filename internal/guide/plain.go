package guide

import (
	"regexp"
	"strings"
	"unicode/utf8"
)

const (
	// tableWidth is how wide a table may become before its cells are broken
	// into lines: what a terminal beside another window shows.
	tableWidth = 100
	// leastColumn is as narrow as a column becomes for that.
	leastColumn = 14
	columnGap   = "  "
)

// plain makes text for a terminal of a document in the Markdown that we write:
// headings, paragraphs, lists, fenced and indented code, tables, links, bold.
func plain(md string) string {
	var b strings.Builder
	var table [][]string
	fenced := false
	flush := func() {
		writeTable(&b, table)
		table = nil
	}
	for line := range strings.Lines(md) {
		line = strings.TrimRight(line, " \t\r\n")
		if !fenced && strings.HasPrefix(line, "|") {
			table = append(table, cells(line))
			continue
		}
		flush()
		switch {
		case strings.HasPrefix(line, "```"):
			fenced = !fenced
			continue
		case fenced:
			line = "    " + line
		case strings.HasPrefix(line, "    "):
		case strings.HasPrefix(line, "#"):
			line = heading(line)
		default:
			line = inline(line)
		}
		b.WriteString(strings.TrimRight(line, " ") + "\n")
	}
	flush()
	return b.String()
}

// heading underlines the first two levels.
func heading(line string) string {
	text := strings.TrimLeft(line, "#")
	level := len(line) - len(text)
	text = inline(strings.TrimSpace(text))
	if level > 2 {
		return text
	}
	return text + "\n" + strings.Repeat([]string{"=", "-"}[level-1], utf8.RuneCountInString(text))
}

var (
	link = regexp.MustCompile(`!?\[([^\]]*)\]\(([^)]*)\)`)
	bold = regexp.MustCompile(`\*\*([^*]+)\*\*|\*([^*\s][^*]*)\*`)
)

// inline takes the marks out of a line, but not out of its code.
func inline(line string) string {
	parts := strings.Split(line, "`")
	for i := 0; i < len(parts); i += 2 { // the odd ones are code
		s := link.ReplaceAllString(parts[i], "$1 ($2)")
		parts[i] = bold.ReplaceAllString(s, "$1$2")
	}
	return strings.Join(parts, "`")
}

// cells cuts a row of a table.
func cells(line string) []string {
	line = strings.TrimSuffix(strings.TrimPrefix(line, "|"), "|")
	line = strings.ReplaceAll(line, `\|`, "\x00")
	row := strings.Split(line, "|")
	for i, c := range row {
		row[i] = inline(strings.TrimSpace(strings.ReplaceAll(c, "\x00", "|")))
	}
	return row
}

var rule = regexp.MustCompile(`^:?-+:?$`)

// writeTable lines the columns up, and breaks cells where they are too wide
// together.
func writeTable(b *strings.Builder, rows [][]string) {
	if len(rows) == 0 {
		return
	}
	widths := columnWidths(rows)
	for i, row := range rows {
		if i == 1 && rule.MatchString(row[0]) {
			for k := range row {
				row[k] = strings.Repeat("-", widths[k])
			}
		}
		broken := make([][]string, len(row))
		lines := 0
		for k, c := range row {
			broken[k] = breakLines(c, widths[k])
			lines = max(lines, len(broken[k]))
		}
		for n := range lines {
			var line strings.Builder
			for k := range row {
				cell := ""
				if n < len(broken[k]) {
					cell = broken[k][n]
				}
				line.WriteString(cell + strings.Repeat(" ", max(0, widths[k]-utf8.RuneCountInString(cell))) + columnGap)
			}
			b.WriteString(strings.TrimRight(line.String(), " ") + "\n")
		}
	}
}

// columnWidths returns how many signs each column gets: its longest cell, or
// less where the table is too wide, but no less than its longest word.
func columnWidths(rows [][]string) []int {
	columns := 0
	for _, row := range rows {
		columns = max(columns, len(row))
	}
	widths, least := make([]int, columns), make([]int, columns)
	total := 0
	for k := range columns {
		least[k] = leastColumn
		for i, row := range rows {
			if k >= len(row) || i == 1 && rule.MatchString(row[k]) {
				continue
			}
			widths[k] = max(widths[k], utf8.RuneCountInString(row[k]))
			for _, word := range strings.Fields(row[k]) {
				least[k] = max(least[k], utf8.RuneCountInString(word))
			}
		}
		total += widths[k] + len(columnGap)
	}
	for total > tableWidth {
		widest := -1
		for k := range columns {
			if widths[k] > least[k] && (widest < 0 || widths[k] > widths[widest]) {
				widest = k
			}
		}
		if widest < 0 {
			break
		}
		widths[widest]--
		total--
	}
	return widths
}

// breakLines breaks text between words into lines of a width.
func breakLines(text string, width int) (lines []string) {
	line := ""
	for _, word := range strings.Fields(text) {
		switch {
		case line == "":
			line = word
		case utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) <= width:
			line += " " + word
		default:
			lines = append(lines, line)
			line = word
		}
	}
	return append(lines, line)
}
