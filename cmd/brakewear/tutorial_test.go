package main

import (
	"bufio"
	"bytes"
	"io"
	"net/http"
	"net/http/cookiejar"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"
)

// passage is a stretch of the tutorial: commands to paste, what they print, and
// the words up to the next commands.
type passage struct {
	line   int // of the commands' first line
	script string
	prints string
	words  string
}

// passages cuts a text at its sh blocks.
func passages(text string) (ps []passage) {
	var block string
	for i, line := range strings.Split(text, "\n") {
		fence, isFence := strings.CutPrefix(line, "```")
		switch {
		case isFence && block != "":
			block = ""
		case isFence:
			block = fence
			if fence == "sh" {
				ps = append(ps, passage{line: i + 2})
			}
		case len(ps) == 0:
		case block == "sh":
			ps[len(ps)-1].script += line + "\n"
		case block == "text":
			ps[len(ps)-1].prints += line + "\n"
		default:
			ps[len(ps)-1].words += line + "\n"
		}
	}
	return ps
}

// printed is the pattern of what is to be printed: … stands for what differs.
func printed(s string) *regexp.Regexp {
	return regexp.MustCompile("^" + strings.ReplaceAll(regexp.QuoteMeta(s), "…", `\S.*`) + "$")
}

// shown is where the tutorial says that it serves.
const shown = "http://127.0.0.1:8080"

// TestTutorial does what the tutorial says in an empty folder, with the program
// as a process of its own, and wants it to print what stands there.
func TestTutorial(t *testing.T) {
	shell, err := exec.LookPath("bash")
	if err != nil {
		t.Skip("the tutorial's commands need bash: ", err)
	}
	text, err := os.ReadFile("../../internal/guide/tutorial.md")
	if err != nil {
		t.Fatal(err)
	}
	bin, dir := t.TempDir(), t.TempDir()
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	// By this name the test binary is the program: see TestMain.
	if err := os.Symlink(self, filepath.Join(bin, "brakewear")); err != nil {
		t.Fatal(err)
	}
	run := func(script string) *exec.Cmd {
		cmd := exec.CommandContext(t.Context(), shell, "-c", script)
		cmd.Dir = dir
		cmd.Env = []string{"PATH=" + bin + string(os.PathListSeparator) + os.Getenv("PATH"), "HOME=" + dir, "BRAKEWEAR_LISTEN=127.0.0.1:0"}
		return cmd
	}
	served := false
	for _, p := range passages(string(text)) {
		if strings.HasPrefix(p.script, "brakewear serve") {
			served = true
			serveTutorial(t, run("exec "+p.script), p)
			continue
		}
		got, err := run(p.script).CombinedOutput()
		if err != nil {
			t.Fatalf("line %d: %v\n%s", p.line, err, got)
		}
		if !printed(p.prints).Match(got) {
			t.Fatalf("line %d prints\n%s\nand the tutorial has\n%s", p.line, got, p.prints)
		}
	}
	if !served {
		t.Error("the tutorial serves nothing")
	}
}

// serveTutorial starts the pages, opens those that the words name, and ends
// them as Ctrl-C does.
func serveTutorial(t *testing.T, cmd *exec.Cmd, p passage) {
	t.Helper()
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	var log bytes.Buffer
	cmd.Stderr = &log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	defer cmd.Process.Kill() // a test that gave up leaves nothing running
	lines := bufio.NewReader(out)
	var got, address string
	for range strings.Count(p.prints, "\n") {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatalf("line %d: %v after %q\n%s", p.line, err, got, &log)
		}
		if address == "" {
			address = regexp.MustCompile(`http://127\.0\.0\.1:\d+`).FindString(line)
		}
		got += strings.ReplaceAll(line, address, shown)
	}
	if !printed(p.prints).MatchString(got) {
		t.Fatalf("line %d prints\n%s\nand the tutorial has\n%s", p.line, got, p.prints)
	}
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	client := &http.Client{Jar: jar, Timeout: time.Minute}
	link := regexp.MustCompile(regexp.QuoteMeta(shown) + `(/link/\S+)`).FindStringSubmatch(got)
	if link == nil {
		t.Fatalf("line %d: no link for the first account in\n%s", p.line, got)
	}
	useLink(t, client, address+link[1])
	opened := 0
	for _, path := range regexp.MustCompile(regexp.QuoteMeta(shown)+`(/\w*)`).FindAllStringSubmatch(p.words, -1) {
		opened++
		res, err := client.Get(address + path[1])
		if err != nil {
			t.Fatal(err)
		}
		body, err := io.ReadAll(res.Body)
		res.Body.Close()
		if err != nil || res.StatusCode != http.StatusOK || res.Request.URL.Path != path[1] {
			t.Errorf("%s: got %s at %s, %v\n%.300s", path[1], res.Status, res.Request.URL, err, body)
		}
		if path[1] == "/vehicles" && !bytes.Contains(body, []byte("Bus 114")) {
			t.Errorf("%s lacks Bus 114", path[1])
		}
	}
	if opened < 4 {
		t.Errorf("the words after line %d name %d pages", p.line, opened)
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Fatal(err)
	}
	if _, err := io.Copy(io.Discard, lines); err != nil {
		t.Fatal(err)
	}
	if err := cmd.Wait(); err != nil {
		t.Errorf("ended by Ctrl-C: %v\n%s", err, &log)
	}
}

// TestTutorialCaught: a line that reads otherwise does not pass.
func TestTutorialCaught(t *testing.T) {
	ps := passages("words\n```sh\na\nb\n```\n\n```text\nWrote … bytes (2 rows)\n```\nmore http://x\n```sh\nc\n```\n")
	if len(ps) != 2 || ps[0].script != "a\nb\n" || ps[0].line != 3 || ps[1].prints != "" || !strings.Contains(ps[0].words, "more") {
		t.Fatalf("got %+v", ps)
	}
	for text, want := range map[string]bool{
		"Wrote 71 bytes (2 rows)\n":       true,
		"Wrote 71 bytes (3 rows)\n":       false,
		"Wrote  bytes (2 rows)\n":         false,
		"Wrote 71 bytes (2 rows)\nmore\n": false,
	} {
		if got := printed(ps[0].prints).MatchString(text); got != want {
			t.Errorf("%q: got %v, want %v", text, got, want)
		}
	}
}
