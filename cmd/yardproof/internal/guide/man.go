package guide

import (
	"fmt"
	"io"
	"strings"

	"yardproof/patterns"
)

// WriteMan writes yardproof(1) in the man macros (groff_man(7)).
func WriteMan(w io.Writer, version string, commands []Command) {
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
	p(".SH DESCRIPTION\nYardproof checks the plan of a display. It sends test patterns as streaming ACN (ANSI E1.31-2018), 40 frames a second. " +
		"It serves a page for the phone in your hand, measures what arrives, says what a fault means, runs the burn-in, and keeps the record.")
	p(".SH COMMANDS")
	for _, c := range commands {
		p(".SS yardproof %s \\fR[\\fIflags\\fR] \\fI%s\\fR", c.Name, c.Args)
		p("%s.", c.Does)
		for _, f := range c.flags() {
			name, usage := valueName(f)
			p(".TP")
			if name != "" {
				p("\\fB\\-\\-%s\\fR \\fI%s\\fR", f.Name, name)
			} else {
				p("\\fB\\-\\-%s\\fR", f.Name)
			}
			if d := defaultText(f.DefValue); d != "" && !strings.Contains(usage, "default") {
				usage += " (default: " + d + ")"
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
	for _, e := range [][2]string{{"0", "Fine"}, {"1", "Something was found wrong, or went wrong"}, {"2", "The command was called in a wrong way"}} {
		p(".TP\n%s", e[0])
		p("%s.", e[1])
	}
	p(".SH SIGNALS")
	p(".TP\nSIGTERM, SIGINT\nGo dark, terminate the streams and end. A second one ends at once.")
	p(".TP\nSIGHUP\nRead the plan again without missing a frame. A plan with errors is refused, and the old one stays.")
	p(".SH ENVIRONMENT")
	p(".TP\nSTATE_DIRECTORY, XDG_STATE_HOME\nWhere the state directory is, unless \\fB\\-\\-state\\fR names it.")
	p(".TP\nNO_COLOR\nWhen set, the terminal output has no colour.")
	p(".TP\nNOTIFY_SOCKET, WATCHDOG_USEC, JOURNAL_STREAM\nSet by systemd, and obeyed.")
	p(".SH FILES")
	p(".TP\n.I /etc/yardproof/plan.yaml\nThe plan of the service yardproof. The service yardproof@NAME reads /etc/yardproof/NAME.yaml.")
	p(".TP\n.I /etc/default/yardproof\nFurther flags of the service yardproof. The service yardproof@NAME reads /etc/default/yardproof\\-NAME.")
	p(".TP\n.I /usr/share/doc/yardproof/examples\nA plan, drop\\-ins for the service, Prometheus rules, a dashboard.")
	p(".SH CAUTIONS\nLocal codes prevail. Mains wiring is for licensed people. Isolate before you touch. " +
		"A level set in software protects nothing: a fuse at the start of every run and feed does.")
	p(".SH SEE ALSO\n.BR systemctl (1),\n.BR journalctl (1)\n.PP\n\\fByardproof help plan\\fR, \\fBpatterns\\fR, \\fBmetrics\\fR and \\fBapi\\fR print the reference.")
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
