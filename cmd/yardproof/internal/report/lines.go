package report

import (
	"cmp"
	"fmt"
	"html/template"
	"io"
	"iter"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
)

// entry is a line of the record that is to be listed.
type entry struct {
	time   int64 // in milliseconds, as the line has it
	behind int64 // the line before it in the file is of this later time; 0: it is not
	record.Place
}

// clockStep is by how much a line must be older than the one before it to say so.
// Less is two phones at a time, waiting for the disk.
const clockStep = 30 * time.Second

var heads = []string{"when", "kind", "string", "label", "stage", "verdict", "what"}

// read goes through the record once: it counts and measures, and keeps no line but
// those that say where a string stands.
func (r *Report) read(index *record.Index, since time.Time) error {
	plans := map[string]bool{}
	latest, steps, anything := time.Time{}, 0, false
	for place, l := range r.source.Lines() {
		r.Recorded++
		old := l.Time.Before(since)
		if !old || l.Kind == record.Replaced {
			index.Add(l)
		}
		e := entry{time: l.Time.UnixMilli(), Place: place}
		if l.Kind != record.Inspection { // a look left by a shell is of the time it was taken
			if latest.Sub(l.Time) > clockStep {
				e.behind = latest.UnixMilli()
				steps++
			}
			latest = l.Time
		}
		if old {
			continue
		}
		r.order = append(r.order, e)
		if l.Plan != "" && !plans[l.Plan] {
			plans[l.Plan] = true
			r.Plans = append(r.Plans, record.Shown(l.Plan))
		}
		cells := r.cells(l)
		anything = anything || e.behind != 0 || what(*l) != ""
		if anything {
			cells[len(cells)-1] = "what"
		}
		r.table.Measure(cells...)
	}
	slices.SortStableFunc(r.order, func(a, b entry) int { return cmp.Compare(a.time, b.time) })
	r.Notes = r.source.Notes()
	if steps > 0 {
		r.Notes = append(r.Notes, fmt.Sprintf("The clock went back %s while this was recorded. The lines are in the order of their times; those written after a later one say so.",
			textout.Count(steps, "time")))
	}
	return r.source.Err()
}

// Listed returns how many lines are not left out.
func (r *Report) Listed() int { return len(r.order) }

// each reads the lines again, the oldest first. What goes wrong is kept in r.err.
func (r *Report) each() iter.Seq2[entry, *record.Line] {
	return func(yield func(entry, *record.Line) bool) {
		for _, e := range r.order {
			l, err := r.source.Line(e.Place)
			if err != nil {
				r.err = fmt.Errorf("the record has changed while it was read: %w", err)
				return
			}
			if !yield(e, &l) {
				return
			}
		}
	}
}

// cells are a line's, but for the last: what it says.
func (r *Report) cells(l *record.Line) []string {
	return []string{r.when(l.Time), string(l.Kind), record.Shown(cmp.Or(l.String, l.Controller)), record.Shown(l.Label), string(l.Stage), string(l.Verdict), ""}
}

func (r *Report) rows() iter.Seq[[]string] {
	return func(yield func([]string) bool) {
		for e, l := range r.each() {
			cells := r.cells(l)
			text := what(*l)
			if e.behind != 0 {
				step := "(written after " + r.when(time.UnixMilli(e.behind)) + ": the clock went back)"
				text = strings.TrimPrefix(text+" "+step, " ")
			}
			cells[len(cells)-1] = text
			if !yield(cells) {
				return
			}
		}
	}
}

// Rows are those of the sheet. They are put together here: a template takes seconds
// for a long record.
func (r *Report) Rows() iter.Seq[template.HTML] {
	return func(yield func(template.HTML) bool) {
		var b strings.Builder
		for cells := range r.rows() {
			b.Reset()
			for i, open := range []string{`<td class="when">`, "<td>", "<td>", "<td>", "<td>", `<td class="` + cells[5] + `">`, "<td>"} {
				b.WriteString(open)
				b.WriteString(template.HTMLEscapeString(cells[i]))
				b.WriteString("</td>")
			}
			if !yield(template.HTML(b.String())) {
				return
			}
		}
	}
}

// CSV prints one row for each line of the record, the oldest first, times in UTC.
func (r *Report) CSV(out io.Writer) error {
	w := textout.NewCSV(out)
	w.Row("time", "kind", "plan", "string", "label", "controller", "stage", "verdict", "seen", "last_lit", "pattern", "level_percent", "readings", "note")
	r.err = nil
	for _, l := range r.each() {
		var readings []string
		for _, one := range l.Readings {
			readings = append(readings, readingText(one))
		}
		var last, level any
		if l.LastLit != nil {
			last = *l.LastLit
		}
		if l.LevelPercent != nil {
			level = *l.LevelPercent
		}
		cells := []any{l.Time.Format(time.RFC3339), string(l.Kind), l.Plan, l.String, l.Label, l.Controller, string(l.Stage), string(l.Verdict),
			l.Seen, last, l.Pattern, level, strings.Join(readings, "; "), l.Note}
		for i, c := range cells {
			if text, ok := c.(string); ok {
				cells[i] = record.Shown(text)
			}
		}
		w.Row(cells...)
	}
	if r.err != nil {
		return r.err
	}
	return w.Flush()
}
