package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/pflag"

	"yardproof/patterns"
)

func manualCommand() command {
	return command{
		name: "manual",
		does: "Print the manual page, or a shell's completions, as made from the commands themselves",
		define: func(fs *pflag.FlagSet) func(context.Context, stdio, []string) error {
			format := fs.String("format", "man", "man, bash, zsh or fish")
			return func(_ context.Context, std stdio, args []string) error {
				if len(args) > 0 {
					return usagef("%q is one word too many", args[0])
				}
				out := bufio.NewWriter(std.out) // its Flush tells of the first write that failed
				switch *format {
				case "man":
					writeMan(out)
				case "bash":
					writeBash(out)
				case "zsh":
					writeZsh(out)
				case "fish":
					writeFish(out)
				default:
					return usagef("--format %q: there are man, bash, zsh and fish", *format)
				}
				return out.Flush()
			}
		},
	}
}

// flags returns a command's flags in the order of their definition.
func (c command) flags() []*pflag.Flag {
	fs := pflag.NewFlagSet(c.name, pflag.ContinueOnError)
	fs.SortFlags = false
	c.define(fs)
	var list []*pflag.Flag
	fs.VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			list = append(list, f)
		}
	})
	return list
}

// takesValue reports whether the flag is followed by one.
func takesValue(f *pflag.Flag) bool { return f.NoOptDefVal == "" }

// values are the words that a flag may be followed by; none are known for most.
func values(f *pflag.Flag) []string {
	var words []string
	if f.Name == "pattern" {
		for _, p := range patterns.All() {
			words = append(words, p.Name)
		}
	}
	return words
}

// writeMan writes yardproof(1) in the man macros (groff_man(7)).
func writeMan(w io.Writer) {
	p := func(format string, args ...any) {
		for i, a := range args {
			if s, ok := a.(string); ok {
				args[i] = roff(s)
			}
		}
		fmt.Fprintf(w, format+"\n", args...)
	}
	p(`.TH YARDPROOF 1 "" "yardproof %s" "User Commands"`, version)
	p(".SH NAME\nyardproof \\- plan, prove and watch outdoor displays of addressable pixels over E1.31")
	p(".SH SYNOPSIS\n.B yardproof\n.I COMMAND\n[\\fIflags\\fR]")
	p(".SH DESCRIPTION\nYardproof checks the plan of a display, sends test patterns as streaming ACN (ANSI E1.31-2018) at 40 frames a second, " +
		"serves a page for the phone in your hand, measures what arrives, says what a fault means, and runs the burn-in.")
	p(".SH COMMANDS")
	for _, c := range commands() {
		p(".SS yardproof %s \\fR[\\fIflags\\fR] \\fI%s\\fR", c.name, c.args)
		p("%s.", c.does)
		for _, f := range c.flags() {
			name, usage := pflag.UnquoteUsage(f)
			name = strings.TrimSuffix(name, "Array")
			p(".TP")
			if takesValue(f) {
				p("\\fB\\-\\-%s\\fR \\fI%s\\fR", f.Name, name)
			} else {
				p("\\fB\\-\\-%s\\fR", f.Name)
			}
			if f.DefValue != "" && f.DefValue != "0" && f.DefValue != "false" && f.DefValue != "[]" && f.DefValue != "0s" {
				usage += " (default " + f.DefValue + ")"
			}
			p("%s.", usage)
		}
	}
	p(".SH PATTERNS")
	for _, pat := range patterns.All() {
		p(".TP\n\\fB%s\\fR", pat.Name)
		p("%s.", pat.Does)
	}
	p(".SH EXIT STATUS")
	for _, e := range [][2]string{{"0", "fine"}, {"1", "something was found wrong, or went wrong"}, {"2", "the command was called in a wrong way"}} {
		p(".TP\n%s", e[0])
		p("%s", e[1])
	}
	p(".SH SIGNALS")
	p(".TP\nSIGTERM, SIGINT\nGo dark, terminate the streams and end; a second one ends at once.")
	p(".TP\nSIGHUP\nRead the plan again without missing a frame; a plan with errors is refused, and the old one stays.")
	p(".SH ENVIRONMENT")
	p(".TP\nSTATE_DIRECTORY, XDG_STATE_HOME\nWhere the state directory is, unless \\fB\\-\\-state\\fR says so.")
	p(".TP\nNOTIFY_SOCKET, WATCHDOG_USEC, JOURNAL_STREAM\nSet by systemd, and obeyed.")
	p(".SH FILES")
	p(".TP\n.I /etc/yardproof/plan.yaml\nThe plan of the service yardproof; /etc/yardproof/NAME.yaml that of yardproof@NAME.")
	p(".TP\n.I /etc/default/yardproof\nFurther flags for the service; /etc/default/yardproof\\-NAME for yardproof@NAME.")
	p(".TP\n.I /usr/share/doc/yardproof/examples\nA plan, drop\\-ins for the service, Prometheus rules, a dashboard.")
	p(".SH CAUTIONS\nLocal codes prevail. Mains wiring is for licensed people. Isolate before you touch. " +
		"A level set in software protects nothing: a fuse at the start of every run and feed does.")
	p(".SH SEE ALSO\n.BR systemctl (1),\n.BR journalctl (1)")
}

// roff keeps text from being read as a request or an escape.
func roff(s string) string {
	s = strings.ReplaceAll(s, `\`, `\e`)
	s = strings.ReplaceAll(s, "-", `\-`)
	if strings.HasPrefix(s, ".") || strings.HasPrefix(s, "'") {
		s = `\&` + s
	}
	return s
}

// takesPlan reports whether a file is expected after the flags.
func (c command) takesPlan() bool { return strings.Contains(c.args, "PLAN") }

func writeBash(w io.Writer) {
	var names []string
	for _, c := range commands() {
		names = append(names, c.name)
	}
	fmt.Fprintf(w, `# bash completion for yardproof
_yardproof() {
	local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} words='' files=''
	COMPREPLY=()
	if ((COMP_CWORD == 1)); then
		COMPREPLY=($(compgen -W '%s --help' -- "$word"))
		return
	fi
	case ${COMP_WORDS[1]} in
`, strings.Join(names, " "))
	for _, c := range commands() {
		fmt.Fprintf(w, "\t%s)\n", c.name)
		words := []string{"--help"}
		var choices, valued []string
		for _, f := range c.flags() {
			words = append(words, "--"+f.Name)
			if v := values(f); len(v) > 0 {
				choices = append(choices, fmt.Sprintf("\t\t--%s) COMPREPLY=($(compgen -W '%s' -- \"$word\")); return ;;\n", f.Name, strings.Join(v, " ")))
			} else if takesValue(f) {
				valued = append(valued, "--"+f.Name)
			}
		}
		if len(choices)+len(valued) > 0 {
			fmt.Fprintf(w, "\t\tcase $before in\n%s", strings.Join(choices, ""))
			if len(valued) > 0 {
				fmt.Fprintf(w, "\t\t%s) COMPREPLY=($(compgen -f -- \"$word\")); return ;;\n", strings.Join(valued, "|"))
			}
			fmt.Fprint(w, "\t\tesac\n")
		}
		fmt.Fprintf(w, "\t\twords='%s'\n", strings.Join(words, " "))
		if c.takesPlan() {
			fmt.Fprint(w, "\t\tfiles=yes\n")
		}
		fmt.Fprint(w, "\t\t;;\n")
	}
	fmt.Fprint(w, `	esac
	if [[ $word == -* ]]; then
		COMPREPLY=($(compgen -W "$words" -- "$word"))
	elif [[ $files ]]; then
		COMPREPLY=($(compgen -f -- "$word"))
	fi
}
complete -o filenames -F _yardproof yardproof
`)
}

// quoted writes a word for a shell between single quotes.
func quoted(s string) string { return "'" + strings.ReplaceAll(s, "'", `'\''`) + "'" }

func writeZsh(w io.Writer) {
	// In a description of _arguments and _describe a colon and brackets are marks.
	plain := strings.NewReplacer(":", `\:`, "[", `\[`, "]", `\]`)
	fmt.Fprint(w, "#compdef yardproof\n_yardproof() {\n\tif ((CURRENT == 2)); then\n\t\tlocal -a commands=(\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "\t\t\t%s\n", quoted(c.name+":"+plain.Replace(c.does)))
	}
	fmt.Fprint(w, "\t\t)\n\t\t_describe command commands\n\t\treturn\n\tfi\n\tlocal command=$words[2]\n\tshift words\n\t((CURRENT--))\n\tcase $command in\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "\t%s)\n\t\t_arguments '--help[show the flags]'", c.name)
		for _, f := range c.flags() {
			name, usage := pflag.UnquoteUsage(f)
			spec := fmt.Sprintf("--%s[%s]", f.Name, plain.Replace(usage))
			if takesValue(f) {
				spec += ":" + plain.Replace(name) + ":"
				if v := values(f); len(v) > 0 {
					spec += "(" + strings.Join(v, " ") + ")"
				} else {
					spec += "_files"
				}
			}
			if strings.HasSuffix(f.Value.Type(), "Array") {
				spec = "*" + spec
			}
			fmt.Fprintf(w, " \\\n\t\t\t%s", quoted(spec))
		}
		if c.takesPlan() {
			fmt.Fprintf(w, " \\\n\t\t\t'1:plan:_files'")
		}
		fmt.Fprint(w, "\n\t\t;;\n")
	}
	fmt.Fprint(w, "\tesac\n}\n_yardproof \"$@\"\n")
}

func writeFish(w io.Writer) {
	fmt.Fprint(w, "# fish completion for yardproof\ncomplete -c yardproof -f\n")
	for _, c := range commands() {
		fmt.Fprintf(w, "complete -c yardproof -n __fish_use_subcommand -a %s -d %s\n", c.name, fishQuoted(c.does))
		seen := fmt.Sprintf("-n '__fish_seen_subcommand_from %s'", c.name)
		for _, f := range c.flags() {
			_, usage := pflag.UnquoteUsage(f)
			fmt.Fprintf(w, "complete -c yardproof %s -l %s -d %s", seen, f.Name, fishQuoted(usage))
			if v := values(f); len(v) > 0 {
				fmt.Fprintf(w, " -x -a '%s'", strings.Join(v, " "))
			} else if takesValue(f) {
				fmt.Fprint(w, " -r -F")
			}
			fmt.Fprintln(w)
		}
		if c.takesPlan() {
			fmt.Fprintf(w, "complete -c yardproof %s -F\n", seen)
		}
	}
}

// fishQuoted quotes for fish, which knows two escapes between single quotes.
func fishQuoted(s string) string {
	return "'" + strings.NewReplacer(`\`, `\\`, "'", `\'`).Replace(s) + "'"
}
