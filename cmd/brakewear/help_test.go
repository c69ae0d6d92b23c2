package main

import (
	"errors"
	"strings"
	"testing"

	"brakewear/internal/fleet"
	"brakewear/internal/guide"
)

func TestHelp(t *testing.T) {
	list, _, err := command(t, "help")
	if err != nil {
		t.Fatal(err)
	}
	for _, topic := range guide.Topics() {
		if !strings.Contains(list, "\n  "+topic.Name+" ") {
			t.Errorf("the list lacks %s", topic.Name)
		}
		text, _ := guide.Text(topic.Name)
		if out, _, err := command(t, "help", topic.Name); err != nil || out != text {
			t.Errorf("help %s: got %.60q, %v", topic.Name, out, err)
		}
	}
	for _, words := range [][]string{{"import"}, {"people", "add"}, {"help"}} {
		want, _, err := command(t, append(words, "--help")...)
		if err != nil {
			t.Fatal(err)
		}
		got, _, err := command(t, append([]string{"help"}, words...)...)
		if err != nil || got != want || got == "" {
			t.Errorf("help %s: got %.60q, %v; want what --help prints", words, got, err)
		}
	}
	if _, _, err := command(t, "help", "goats"); !errors.Is(err, fleet.ErrNotFound) {
		t.Errorf("of nothing: got %v", err)
	}
}

// TestTopicsAreNoCommands: help of a word is one thing or the other.
func TestTopicsAreNoCommands(t *testing.T) {
	parser, err := newParser(nil, nil, func(int) {})
	if err != nil {
		t.Fatal(err)
	}
	for _, topic := range guide.Topics() {
		if findCommand(parser.Model.Node, strings.Fields(topic.Name)) != nil {
			t.Errorf("%s is a topic and a command", topic.Name)
		}
	}
}
