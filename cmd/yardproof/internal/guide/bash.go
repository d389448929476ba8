package guide

import (
	"fmt"
	"io"
	"strings"

	"yardproof/patterns"
)

// names returns the names of the commands.
func names(commands []Command) string {
	var list []string
	for _, c := range commands {
		list = append(list, c.Name)
	}
	return strings.Join(list, " ")
}

// helpDoes is what a shell says of help.
const helpDoes = "Show the flags of a command, or explain a topic"

// ask is the call by which a shell asks the program for the words that follow a
// flag; the words typed so far follow it, since a plan may be among them.
var ask = map[Offer]string{Strings: "strings", Controllers: "controllers", Interfaces: "interfaces"}

// WriteBash writes the completion for bash.
func WriteBash(w io.Writer, commands []Command, topics []string) {
	fmt.Fprintf(w, `# bash completion for yardproof
_yardproof() {
	local word=${COMP_WORDS[COMP_CWORD]} before=${COMP_WORDS[COMP_CWORD-1]} words='' files=''
	COMPREPLY=()
	if ((COMP_CWORD == 1)); then
		COMPREPLY=($(compgen -W '%[1]s help --help' -- "$word"))
		return
	fi
	case ${COMP_WORDS[1]} in
	help)
		words='%[1]s %[2]s'
		COMPREPLY=($(compgen -W "$words" -- "$word"))
		return
		;;
`, names(commands), strings.Join(topics, " "))
	for _, c := range commands {
		fmt.Fprintf(w, "\t%s)\n", c.Name)
		words := []string{"--help"}
		var cases strings.Builder
		for _, f := range c.flags() {
			words = append(words, "--"+f.Name)
			if !takesValue(f) {
				continue
			}
			reply := ""
			switch o := offers(f); o {
			case Files:
				reply = ` COMPREPLY=($(compgen -f -- "$word"));`
			case Patterns:
				reply = fmt.Sprintf(` COMPREPLY=($(compgen -W '%s' -- "$word"));`, strings.Join(patterns.Names(), " "))
			case Strings, Controllers, Interfaces:
				reply = fmt.Sprintf(` COMPREPLY=($(compgen -W "$(yardproof completion %s "${COMP_WORDS[@]:2}" 2>/dev/null)" -- "$word"));`, ask[o])
			}
			fmt.Fprintf(&cases, "\t\t--%s)%s return ;;\n", f.Name, reply)
		}
		if cases.Len() > 0 {
			fmt.Fprintf(w, "\t\tcase $before in\n%s\t\tesac\n", cases.String())
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
