package main

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/textout"
)

// fineRows is how many universes without any fault a printed table shows.
const fineRows = 20

func round(x float64, digits int) float64 {
	p := math.Pow10(digits)
	return math.Round(x*p) / p
}

// universesText writes universes as "universe 7" or "universes 1-3, 7"; of many
// scattered ones, the first.
func universesText(universes []uint16) string {
	numbers := make([]int, len(universes))
	for i, u := range universes {
		numbers[i] = int(u)
	}
	if len(numbers) == 1 {
		return fmt.Sprintf("universe %d", numbers[0])
	}
	return "universes " + textout.Some(strings.Split(textout.Ranges(numbers), ", "), 20)
}

// heardRow is one source on one universe.
type heardRow struct {
	source *heardSource
	name   string
	*heardUniverse
}

// faulty reports whether a row has anything to look at.
func (r heardRow) faulty() bool { return r.Lost > 0 || r.Outages > 0 || r.Restarts > 0 }

// rows are all of them, the worst first.
func (a *listenAnswer) rows() []heardRow {
	names := make(map[string]int)
	for _, src := range a.Sources {
		names[src.Name]++
	}
	var list []heardRow
	for i := range a.Sources {
		src := &a.Sources[i]
		name := src.Name
		if names[name] > 1 {
			name += " " + src.CID[:8] // of two with one name
		}
		for j := range src.Universes {
			list = append(list, heardRow{src, name, &src.Universes[j]})
		}
	}
	slices.SortStableFunc(list, func(a, b heardRow) int {
		return cmp.Or(
			cmp.Compare(b.OutageSeconds, a.OutageSeconds),
			cmp.Compare(b.LossPercent, a.LossPercent),
			cmp.Compare(b.Restarts, a.Restarts),
			cmp.Compare(b.OutOfOrder+b.Duplicates, a.OutOfOrder+a.Duplicates),
			cmp.Compare(a.Universe, b.Universe),
		)
	})
	return list
}

// state says in a word what a stream is doing.
func (r heardRow) state() string {
	var words []string
	switch {
	case r.Terminated:
		words = append(words, "terminated")
	case !r.Live:
		words = append(words, "silent "+r.silent.Truncate(time.Second).String())
	}
	if r.Preview {
		words = append(words, "preview")
	}
	if r.SyncAddress != 0 {
		words = append(words, fmt.Sprintf("sync %d", r.SyncAddress))
	}
	return strings.Join(words, ", ")
}

// streamTable shows the rows; strip may be nil.
func streamTable(rows []heardRow, live bool, strip func(heardRow) string) *textout.Table {
	t := textout.NewTable(">universe", "source", ">priority", ">Hz", ">packets", ">lost", ">loss %", ">late", ">twice", ">jitter ms", ">gap ms", "state", "last 30 s")
	for _, r := range rows {
		rate, last := r.RateHz, ""
		if live {
			rate = r.rateNow
		}
		if strip != nil {
			last = strip(r)
		}
		t.Add(fmt.Sprint(r.Universe), r.name, fmt.Sprint(r.Priority), fmt.Sprintf("%.1f", rate), fmt.Sprint(r.Packets), fmt.Sprint(r.Lost),
			fmt.Sprintf("%.2f", r.LossPercent), fmt.Sprint(r.OutOfOrder), fmt.Sprint(r.Duplicates), fmt.Sprintf("%.2f", r.JitterMS), fmt.Sprintf("%.0f", r.LongestGapMS), r.state(), last)
	}
	return t
}

// print writes the answer for people.
func (a *listenAnswer) print(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "listened on %s for %.1f s, %d universes joined, %d sources heard\n", a.Interface, a.Seconds, a.Joined, len(a.Sources))
	rows := a.rows()
	shown := len(rows)
	for i, r := range rows {
		if !r.faulty() {
			shown = min(len(rows), i+fineRows)
			break
		}
	}
	if shown > 0 {
		b.WriteByte('\n')
		streamTable(rows[:shown], false, nil).Print(&b)
	}
	if n := len(rows) - shown; n > 0 {
		fmt.Fprintf(&b, "and %d more without loss\n", n)
	}
	a.printRest(&b)
	_, err := w.Write(b.Bytes())
	return err
}

// printRest writes everything but the streams.
func (a *listenAnswer) printRest(b *bytes.Buffer) {
	if len(a.Discovered) > 0 {
		b.WriteByte('\n')
		for _, d := range a.Discovered {
			fmt.Fprintf(b, "announced by %q: %s\n", d.Name, announcedText(d.Universes))
		}
	}
	b.WriteByte('\n')
	for _, f := range a.Findings {
		fmt.Fprintf(b, "found: %s\n", f)
	}
	for _, n := range a.Notes {
		fmt.Fprintf(b, "note: %s\n", n)
	}
	switch {
	case len(a.Findings) > 0:
	case len(a.Sources) == 0 && a.Joined == 0:
		b.WriteString("only announcements were listened to: --universes 1-40 measures streams\n")
	default:
		b.WriteString("all was well\n")
	}
}

func announcedText(universes []uint16) string {
	if len(universes) == 0 {
		return "no universe at all"
	}
	return universesText(universes)
}

// streamHistory is what happened on each stream in the last seconds.
type streamHistory map[streamKey]*recent

type streamKey struct {
	cid      string
	universe uint16
}

type recent struct {
	packets, lost uint64
	marks         [30]byte // the oldest first
}

// note takes a second's counts. A mark is a dot for no loss, 1 to 9 for the
// share lost in tenths, # for silence.
func (h streamHistory) note(a *listenAnswer) {
	for _, r := range a.rows() {
		k := streamKey{r.source.CID, r.Universe}
		s := h[k]
		if s == nil {
			s = &recent{}
			for i := range s.marks {
				s.marks[i] = ' '
			}
			h[k] = s
		}
		copy(s.marks[:], s.marks[1:])
		s.marks[len(s.marks)-1] = mark(r.Packets-s.packets, int64(r.Lost)-int64(s.lost), r.Terminated)
		s.packets, s.lost = r.Packets, r.Lost
	}
}

func mark(packets uint64, lost int64, terminated bool) byte {
	switch {
	case packets == 0 && terminated:
		return ' '
	case packets == 0:
		return '#'
	case lost <= 0: // below 0: one came late that had been counted
		return '.'
	}
	return '1' + byte(min(8, 10*float64(lost)/float64(int64(packets)+lost)))
}

func (h streamHistory) strip(r heardRow) string {
	return string(h[streamKey{r.source.CID, r.Universe}].marks[:])
}

// table redraws the screen each second until ctx ends.
func (far *farEnd) table(ctx context.Context, w io.Writer, size func() (rows, columns int)) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	past := make(streamHistory)
	fmt.Fprint(w, "\x1b[?25l\x1b[2J") // cursor off, screen cleared
	defer fmt.Fprint(w, "\x1b[H\x1b[2J\x1b[?25h")
	for {
		a := far.answer()
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

// screen is one picture of the live table, cut to the terminal.
func screen(a *listenAnswer, past streamHistory, height, width int) string {
	var rest bytes.Buffer
	a.printRest(&rest)
	below := bytes.Count(rest.Bytes(), []byte("\n"))
	rows := a.rows()
	shown := min(len(rows), max(3, height-below-4))
	var b bytes.Buffer
	fmt.Fprintf(&b, "%s, %.0f s, %d universes joined, %d sources; the worst first; end with Ctrl-C\n", a.Interface, a.Seconds, a.Joined, len(a.Sources))
	streamTable(rows[:shown], true, past.strip).Print(&b)
	if n := len(rows) - shown; n > 0 {
		fmt.Fprintf(&b, "and %d more, none of them worse\n", n)
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

// lines writes what happens, a line each, until ctx ends; and every so often
// how it stands.
func (far *farEnd) lines(ctx context.Context, w io.Writer) error {
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
		for _, line := range far.answer().events(said, n%every == 0) {
			if _, err := fmt.Fprintln(w, line); err != nil {
				return err
			}
		}
	}
}

// events are the lines that have not been said yet; with standing also how
// each source does.
func (a *listenAnswer) events(said map[string]bool, standing bool) []string {
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
			out = append(out, fmt.Sprintf("%4.0f s  %q: %d universes live, %d packets, %d lost", a.Seconds, src.Name, live, packets, lost))
		}
	}
	for _, c := range a.conflictLines(true) {
		say("conflict "+c, "%s", c)
	}
	return out
}
