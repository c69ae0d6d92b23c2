package faultproxy

import (
	"bufio"
	"io"
	"net"
	"testing"
	"time"

	"go.uber.org/goleak"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

// echo opens a proxy to a server that says every line back and keeps what it
// got.
func echo(t *testing.T) (p *Proxy, got <-chan string) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	lines := make(chan string, 100)
	go func() {
		for {
			c, err := l.Accept()
			if err != nil {
				return
			}
			go func() {
				defer c.Close()
				for r := bufio.NewReader(c); ; {
					line, err := r.ReadString('\n')
					if err != nil {
						return
					}
					lines <- line
					io.WriteString(c, line)
				}
			}()
		}
	}()
	p, err = Open("tcp", l.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		p.Close()
		l.Close()
	})
	return p, lines
}

func dial(t *testing.T, p *Proxy) net.Conn {
	t.Helper()
	c, err := net.Dial("tcp", p.Addr())
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { c.Close() })
	c.SetDeadline(time.Now().Add(10 * time.Second))
	return c
}

// said sends a line and returns what comes back, "" for nothing.
func said(c net.Conn, line string) string {
	io.WriteString(c, line)
	buf := make([]byte, 100)
	n, _ := c.Read(buf)
	return string(buf[:n])
}

func TestPassesAndCuts(t *testing.T) {
	p, _ := echo(t)
	c := dial(t, p)
	if got := said(c, "a\n"); got != "a\n" {
		t.Fatalf("got %q", got)
	}
	p.Cut()
	if got := said(c, "b\n"); got != "" {
		t.Errorf("after the cut: got %q", got)
	}
	if got := said(dial(t, p), "c\n"); got != "c\n" {
		t.Errorf("a new connection: got %q", got)
	}
	p.Refuse()
	if got := said(dial(t, p), "d\n"); got != "" {
		t.Errorf("refused: got %q", got)
	}
	p.Accept()
	if got := said(dial(t, p), "e\n"); got != "e\n" {
		t.Errorf("accepted again: got %q", got)
	}
	if opened, most := p.Connections(); opened != 3 || most < 1 || most > 3 {
		t.Errorf("got %d connections, %d at a time; want 3", opened, most)
	}
}

func TestStalls(t *testing.T) {
	p, got := echo(t)
	c := dial(t, p)
	said(c, "a\n")
	<-got
	p.Stall()
	io.WriteString(c, "b\n")
	select {
	case line := <-got:
		t.Fatalf("%q came through", line)
	case <-time.After(50 * time.Millisecond):
	}
	p.Resume()
	if line := <-got; line != "b\n" {
		t.Errorf("got %q", line)
	}
}

func TestCutAt(t *testing.T) {
	for _, passes := range []bool{false, true} {
		p, got := echo(t)
		sprung := p.CutAt("COMMIT", passes)
		c := dial(t, p)
		if line := said(c, "insert\n"); line != "insert\n" {
			t.Fatalf("got %q", line)
		}
		<-got
		if line := said(c, "COMMIT\n"); line != "" {
			t.Errorf("passes %v: the client got %q", passes, line)
		}
		<-sprung
		reached := false
		select {
		case <-got:
			reached = true
		case <-time.After(50 * time.Millisecond):
		}
		if reached != passes {
			t.Errorf("passes %v: reached the server: %v", passes, reached)
		}
		if line := said(dial(t, p), "COMMIT\n"); line != "COMMIT\n" {
			t.Errorf("the second time: got %q", line)
		}
	}
}

func TestCutAfter(t *testing.T) {
	p, got := echo(t)
	sprung := p.CutAfter(2, false)
	c := dial(t, p)
	for _, line := range []string{"a\n", "b\n"} {
		if back := said(c, line); back != line {
			t.Fatalf("got %q", back)
		}
		<-got
	}
	if back := said(c, "c\n"); back != "" {
		t.Errorf("the third: got %q", back)
	}
	<-sprung
	p.CutAfter(0, false)
	p.Disarm()
	if back := said(dial(t, p), "d\n"); back != "d\n" {
		t.Errorf("disarmed: got %q", back)
	}
}
