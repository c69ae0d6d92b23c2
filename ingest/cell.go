package ingest

// CSVCell returns s such that a spreadsheet program shows it as text and does
// not run it as a formula: text that begins like a formula gets an apostrophe
// in front. Every CSV file we write passes its text cells through it.
func CSVCell(s string) string {
	if s == "" {
		return s
	}
	switch s[0] {
	case '=', '+', '-', '@', '\t', '\r':
		return "'" + s
	}
	return s
}
