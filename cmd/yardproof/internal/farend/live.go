package farend

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"strings"
	"time"
	"unicode/utf8"
)

// Table redraws the screen each second until ctx ends.
func (far *FarEnd) Table(ctx context.Context, w io.Writer, size func() (rows, columns int)) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	past := make(streamHistory)
	fmt.Fprint(w, "\x1b[?25l\x1b[2J") // cursor off, screen cleared
	defer fmt.Fprint(w, "\x1b[H\x1b[2J\x1b[?25h")
	for {
		a := far.Answer()
		past.note(a)
		height, width := size()
		if _, err := io.WriteString(w, screen(a, past, height, width)); err != nil {
			return err
		}
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
	}
}

// least are the columns that a narrow terminal does without, the first first.
var least = []string{"jitter ms", "twice", "late", "gap ms", "priority", "packets", "lost"}

// screen is one picture of the live table, made to fit the terminal.
func screen(a *Answer, past streamHistory, height, width int) string {
	var rest bytes.Buffer
	a.printRest(&rest)
	rest = *bytes.NewBufferString(wrapped(rest.String(), width))
	below := bytes.Count(rest.Bytes(), []byte("\n"))
	rows := a.rows()
	shown := min(len(rows), max(3, height-below-4))
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s, %.0f s: %s joined, %s; worst first; Ctrl-C ends\n", a.Interface, a.Seconds, counted(a.Joined, "universe"), counted(len(a.Sources), "source"))
	table := streamTable(rows[:shown], true, past.strip)
	table.Fit(width, least...)
	table.Print(&b)
	if n := len(rows) - shown; n > 0 {
		fmt.Fprintf(&b, "and %d more, none worse\n", n)
	}
	b.Write(rest.Bytes())

	var out strings.Builder
	out.WriteString("\x1b[H")
	lines := strings.Split(strings.TrimSuffix(b.String(), "\n"), "\n")
	for i, line := range lines[:min(len(lines), max(1, height-1))] {
		if i > 0 {
			out.WriteString("\r\n")
		}
		runes := []rune(line)
		out.WriteString(string(runes[:min(len(runes), width)]))
		out.WriteString("\x1b[K")
	}
	out.WriteString("\x1b[J")
	return out.String()
}

// wrapped breaks lines at words.
func wrapped(text string, width int) string {
	var out strings.Builder
	for line := range strings.Lines(text) {
		at := 0
		for word := range strings.FieldsSeq(line) {
			n := utf8.RuneCountInString(word)
			switch {
			case at > 0 && at+1+n > width:
				out.WriteString("\n  ")
				at = 2
			case at > 0:
				out.WriteByte(' ')
				at++
			}
			out.WriteString(word)
			at += n
		}
		out.WriteByte('\n')
	}
	return out.String()
}

// Lines writes what happens, a line each, until ctx ends; and every so often
// how it stands.
func (far *FarEnd) Lines(ctx context.Context, w io.Writer) error {
	const every = 10
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	said := make(map[string]bool)
	for n := 1; ; n++ {
		select {
		case <-ctx.Done():
			return nil
		case <-tick.C:
		}
		for _, line := range far.Answer().events(said, n%every == 0) {
			if _, err := fmt.Fprintln(w, line); err != nil {
				return err
			}
		}
	}
}

// events are the lines that have not been said yet; with standing also how
// each source does.
func (a *Answer) events(said map[string]bool, standing bool) []string {
	var out []string
	say := func(key, format string, args ...any) {
		if !said[key] {
			said[key] = true
			out = append(out, fmt.Sprintf("%4.0f s  ", a.Seconds)+fmt.Sprintf(format, args...))
		}
	}
	for _, src := range a.Sources {
		say("source "+src.CID, "%q at %s is heard", src.Name, src.Address)
		var packets, lost uint64
		live := 0
		for _, u := range src.Universes {
			packets, lost = packets+u.Packets, lost+u.Lost
			key := fmt.Sprintf("%s %d", src.CID, u.Universe)
			switch {
			case u.Live:
				live++
				if said["silent "+key] {
					delete(said, "silent "+key)
					out = append(out, fmt.Sprintf("%4.0f s  %q is back on universe %d", a.Seconds, src.Name, u.Universe))
				}
			case !u.Terminated:
				say("silent "+key, "%q is silent on universe %d", src.Name, u.Universe)
			}
		}
		if standing {
			out = append(out, fmt.Sprintf("%4.0f s  %q: %s live, %s, %d lost", a.Seconds, src.Name, counted(live, "universe"), counted(packets, "packet"), lost))
		}
	}
	for _, c := range a.conflictLines(true) {
		say("conflict "+c, "%s", c)
	}
	return out
}
