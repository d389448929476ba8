package farend

import (
	"bytes"
	"cmp"
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

// counted writes a number with what it counts.
func counted[T int | uint32 | uint64](n T, one string) string { return textout.Count(int(n), one) }

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

// row is one source on one universe.
type row struct {
	source *Source
	name   string
	*Stream
}

// faulty reports whether a row has anything to look at.
func (r row) faulty() bool { return r.Lost > 0 || r.Outages > 0 || r.Restarts > 0 }

// rows are all of them, the worst first.
func (a *Answer) rows() []row {
	names := make(map[string]int)
	for _, src := range a.Sources {
		names[src.Name]++
	}
	var list []row
	for i := range a.Sources {
		src := &a.Sources[i]
		name := src.Name
		if names[name] > 1 {
			name += " " + src.CID[:8] // of two with one name
		}
		for j := range src.Universes {
			list = append(list, row{src, name, &src.Universes[j]})
		}
	}
	slices.SortStableFunc(list, func(a, b row) int {
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
func (r row) state() string {
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
func streamTable(rows []row, live bool, strip func(row) string) *textout.Table {
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

// Print writes the answer for people.
func (a *Answer) Print(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "listened on %s for %.1f s: %s joined, %s heard\n", a.Interface, a.Seconds, counted(a.Joined, "universe"), counted(len(a.Sources), "source"))
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
func (a *Answer) printRest(b *bytes.Buffer) {
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
		b.WriteString("heard announcements only; to measure streams give --universes, e.g. 1-40\n")
	case len(a.NotMeasured) > 0:
		fmt.Fprintf(b, "no faults found in what was measured; %s not measured here\n", universesText(a.NotMeasured))
	default:
		b.WriteString("no faults found\n")
	}
}

func announcedText(universes []uint16) string {
	if len(universes) == 0 {
		return "no universe"
	}
	return universesText(universes)
}
