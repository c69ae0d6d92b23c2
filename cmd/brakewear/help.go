package main

import (
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"

	"github.com/alecthomas/kong"

	"brakewear/internal/fleet"
	"brakewear/internal/guide"
)

type helpCmd struct {
	Topic []string `arg:"" optional:"" help:"A topic, or a command; the list of topics when left out." offer:"topics"`
}

func (c helpCmd) Help() string {
	return `Examples:
  brakewear help
  brakewear help operations
  brakewear help import
  brakewear help deploy/brakewear.service > brakewear.service`
}

func (c helpCmd) Run(e *env) error {
	if len(c.Topic) == 0 {
		return listTopics(e.stdout)
	}
	topic := strings.Join(c.Topic, " ")
	if text, ok := guide.Text(topic); ok {
		_, err := io.WriteString(e.stdout, text)
		return err
	}
	parser, err := newParser(io.Discard, io.Discard, func(int) {})
	if err != nil {
		return err
	}
	if findCommand(parser.Model.Node, c.Topic) != nil {
		return e.run(append(slices.Clone(c.Topic), "--help"))
	}
	return fleet.NotFoundf("help %q: there is no such topic and no such command (brakewear help lists the topics, brakewear --help the commands)", topic)
}

// findCommand finds the command of these words, nil where there is none.
func findCommand(n *kong.Node, words []string) *kong.Node {
	for _, word := range words {
		i := slices.IndexFunc(n.Children, func(c *kong.Node) bool { return c.Name == word })
		if i < 0 {
			return nil
		}
		n = n.Children[i]
	}
	return n
}

func listTopics(w io.Writer) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(w, "brakewear help TOPIC prints one of these:")
	for _, topic := range guide.Topics() {
		title := topic.Title
		if title == "" {
			title = "a file to copy"
		}
		fmt.Fprintf(t, "  %s\t%s\n", topic.Name, title)
	}
	if err := t.Flush(); err != nil {
		return err
	}
	_, err := fmt.Fprintln(w, "brakewear help COMMAND explains a command; brakewear --help lists the commands.")
	return err
}
