package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/alecthomas/kong"

	"brakewear/ingest"
	"brakewear/internal/guide"
	"brakewear/internal/pipeline"
)

type completionCmd struct {
	Shell string `arg:"" help:"The shell: bash, zsh or fish." enum:"bash,zsh,fish"`
}

func (c completionCmd) Help() string {
	return `Prints what makes a shell complete commands, flags and their values. Examples:
  source <(brakewear completion bash)
  brakewear completion bash > /etc/bash_completion.d/brakewear
  brakewear completion zsh > ~/.zsh/brakewear, and a line in ~/.zshrc: source ~/.zsh/brakewear
  brakewear completion fish > ~/.config/fish/completions/brakewear.fish`
}

func (c completionCmd) Run(e *env) error {
	parser, err := newParser(io.Discard, io.Discard, func(int) {})
	if err != nil {
		return err
	}
	text := ""
	switch places := placesToComplete(parser.Model.Node); c.Shell {
	case "bash":
		text = bashCompletion(places)
	case "zsh":
		text = "autoload -Uz compinit bashcompinit\ncompinit\nbashcompinit\n" + bashCompletion(places)
	case "fish":
		text = fishCompletion(places)
	}
	_, err = io.WriteString(e.stdout, text)
	return err
}

// place is where in a command line one is: behind the words of a command.
type place struct {
	path     string // its words; blank at the beginning
	commands []*kong.Node
	flags    []*kong.Flag
	values   []string // an argument may be
}

// placesToComplete returns every place, the beginning first.
func placesToComplete(root *kong.Node) (ps []place) {
	var walk func(n *kong.Node, path string)
	walk = func(n *kong.Node, path string) {
		p := place{path: path}
		for _, flags := range n.AllFlags(true) {
			p.flags = append(p.flags, flags...)
		}
		for _, a := range n.Positional {
			p.values = append(p.values, values(a)...)
		}
		for _, child := range n.Children {
			if child.Type == kong.CommandNode && !child.Hidden {
				p.commands = append(p.commands, child)
			}
		}
		ps = append(ps, p)
		for _, child := range p.commands {
			walk(child, strings.TrimSpace(path+" "+child.Name))
		}
	}
	walk(root, "")
	return ps
}

// offers are what a flag or an argument with such a tag may be that is checked
// where it is used.
var offers = map[string]func() []string{
	"kinds": func() (vs []string) {
		for _, k := range ingest.Kinds {
			vs = append(vs, string(k))
		}
		return vs
	},
	"jobs": func() []string { return pipeline.JobNames() },
	"topics": func() (vs []string) {
		for _, t := range guide.Topics() {
			vs = append(vs, t.Name)
		}
		parser, err := newParser(io.Discard, io.Discard, func(int) {})
		if err != nil {
			return vs
		}
		for _, c := range parser.Model.Children {
			if c.Type == kong.CommandNode && !c.Hidden && !slices.Contains(vs, c.Name) {
				vs = append(vs, c.Name)
			}
		}
		return vs
	},
}

// values are what a flag or an argument may be, where that is one of a few.
func values(v *kong.Value) []string {
	if offer := offers[v.Tag.Get("offer")]; offer != nil {
		return offer()
	}
	if v.Enum == "" {
		return nil
	}
	return slices.DeleteFunc(v.EnumSlice(), func(s string) bool { return s == "" })
}

// bashCompletion returns a function for bash, which zsh can use too. Where it
// has nothing to say the shell offers files.
func bashCompletion(places []place) string {
	var words, given strings.Builder
	for _, p := range places {
		ws := slices.Clone(p.values)
		for _, c := range p.commands {
			ws = append(ws, c.Name)
		}
		for _, f := range p.flags {
			ws = append(ws, "--"+f.Name)
			switch vs := values(f.Value); {
			case f.IsBool():
			case vs != nil:
				fmt.Fprintf(&given, "    '%s --%s') words='%s' ;;\n", p.path, f.Name, strings.Join(vs, " "))
			default:
				fmt.Fprintf(&given, "    '%s --%s') return ;;\n", p.path, f.Name)
			}
		}
		fmt.Fprintf(&words, "    '%s') words='%s' ;;\n", p.path, strings.Join(ws, " "))
	}
	var paths []string
	for _, p := range places[1:] {
		paths = append(paths, "'"+p.path+"'")
	}
	return `_brakewear() {
  local cur="${COMP_WORDS[COMP_CWORD]}" prev="${COMP_WORDS[COMP_CWORD-1]}" path='' words='' i
  for ((i = 1; i < COMP_CWORD; i++)); do
    case "${path:+$path }${COMP_WORDS[i]}" in
    ` + strings.Join(paths, "|") + `) path="${path:+$path }${COMP_WORDS[i]}" ;;
    esac
  done
  COMPREPLY=()
  case "$path $prev" in
` + given.String() + `    *)
  case "$path" in
` + words.String() + `  esac ;;
  esac
  COMPREPLY=($(compgen -W "$words" -- "$cur"))
}
complete -o default -F _brakewear brakewear
`
}

// fishCompletion returns the completions of fish, with what each means.
func fishCompletion(places []place) string {
	var b strings.Builder
	var paths []string
	for _, p := range places[1:] {
		paths = append(paths, "'"+p.path+"'")
	}
	b.WriteString(`function __brakewear_at
    set -l path
    for word in (commandline -opc)[2..-1]
        set -l longer (string join -- ' ' $path $word)
        if contains -- $longer ` + strings.Join(paths, " ") + `
            set path $path $word
        end
    end
    set -l at (string join -- ' ' $path)
    test "$at" = "$argv[1]"
end
`)
	for _, p := range places {
		at := fmt.Sprintf("complete -c brakewear -n '__brakewear_at \"%s\"'", p.path)
		if p.values != nil {
			fmt.Fprintf(&b, "%s -f -a '%s'\n", at, strings.Join(p.values, " "))
		}
		for _, c := range p.commands {
			fmt.Fprintf(&b, "%s -f -a %s -d %s\n", at, c.Name, fishText(c.Help))
		}
		for _, f := range p.flags {
			line := at + " -l " + f.Name
			switch vs := values(f.Value); {
			case f.IsBool():
			case vs != nil:
				line += " -x -a '" + strings.Join(vs, " ") + "'"
			default:
				line += " -r"
			}
			fmt.Fprintf(&b, "%s -d %s\n", line, fishText(f.Help))
		}
	}
	return b.String()
}

// fishText quotes text for fish.
func fishText(s string) string {
	return "'" + strings.NewReplacer(`\`, `\\`, `'`, `\'`).Replace(s) + "'"
}
