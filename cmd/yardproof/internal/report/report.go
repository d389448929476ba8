// Package report is the sheet of proofs: the record as people read it in a terminal,
// on paper and in a spreadsheet. It refuses to know about flags and files.
package report

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
)

// A Report is the record as people read it: every text in it is fit to be shown.
type Report struct {
	Plans                 []string
	Printed               string
	Since                 string // what was recorded before is left out; "": nothing is
	Zone                  string
	Good, Fault, Unproved int
	Stages                []record.Stage
	Strings               []standing
	Log                   []line
	Notes                 []string
	Cautions              []string

	lines []record.Line
	zone  *time.Location
}

type standing struct {
	Name, Label string
	Stages      []mark // one for each stage
	Now         string // good, fault or unproved
	When, Day   string
	What        string
	Earlier     int // proofs that no longer count
}

type mark struct{ Verdict, Day string }

type line struct{ When, Kind, Subject, Label, Stage, Verdict, What string }

// Minutes is how times are written, and read for since.
const Minutes = "2006-01-02 15:04"

// New leaves out what was recorded before since. A spare that was hung
// before still hangs there: else its later proofs would be another string's.
func New(lines []record.Line, since time.Time, plan *config.Plan, now time.Time, zone *time.Location) *Report {
	old := func(l record.Line) bool { return l.Time.Before(since) }
	standings := record.Standings(slices.DeleteFunc(slices.Clone(lines), func(l record.Line) bool { return old(l) && l.Kind != record.Replaced }))
	lines = slices.DeleteFunc(lines, old)
	r := &Report{
		Printed: now.In(zone).Format(Minutes), Zone: now.In(zone).Format("MST"), Stages: record.Stages(), lines: lines, zone: zone, Cautions: budget.Cautions(),
	}
	if !since.IsZero() {
		r.Since = since.In(zone).Format(Minutes)
	}
	if plan != nil {
		standings = inPlan(standings, plan)
	}
	for _, s := range standings {
		r.add(s)
	}
	for _, l := range lines {
		if l.Plan != "" && !slices.Contains(r.Plans, record.Shown(l.Plan)) {
			r.Plans = append(r.Plans, record.Shown(l.Plan))
		}
		subject := l.String
		if subject == "" {
			subject = l.Controller
		}
		r.Log = append(r.Log, line{
			When: r.when(l.Time), Kind: string(l.Kind), Subject: record.Shown(subject), Label: record.Shown(l.Label),
			Stage: string(l.Stage), Verdict: string(l.Verdict), What: what(l),
		})
	}
	return r
}

// inPlan puts standings in the order of the plan, with those that nothing is
// recorded of; what the plan does not have comes last.
func inPlan(standings []record.Standing, plan *config.Plan) []record.Standing {
	var all []record.Standing
	for _, s := range plan.Strings {
		i := slices.IndexFunc(standings, func(one record.Standing) bool { return one.String == s.Name })
		if i < 0 {
			all = append(all, record.Standing{String: s.Name, Label: s.Label})
			continue
		}
		st := standings[i]
		standings = slices.Delete(standings, i, i+1)
		if st.Outdated(s.Label) {
			st = record.Standing{String: s.Name, Label: s.Label, Proofs: st.Proofs, Replaced: true}
		}
		all = append(all, st)
	}
	return append(all, standings...)
}

func (r *Report) when(t time.Time) string { return t.In(r.zone).Format(Minutes) }

func (r *Report) day(t time.Time) string { return t.In(r.zone).Format(time.DateOnly) }

func (r *Report) add(s record.Standing) {
	e := standing{Name: record.Shown(s.String), Label: record.Shown(s.Label), Now: "unproved", Earlier: len(s.Proofs)}
	for _, stage := range r.Stages {
		m := mark{}
		if l := s.ByStage[stage]; l != nil {
			m = mark{string(l.Verdict), r.day(l.Time)}
			e.Earlier--
		}
		e.Stages = append(e.Stages, m)
	}
	if s.ByStage[""] != nil {
		e.Earlier--
	}
	e.Earlier = max(0, e.Earlier) // a spare's bench proof may stand under another name
	if l := s.Latest; l != nil {
		e.Now, e.When, e.Day, e.What = string(l.Verdict), r.when(l.Time), r.day(l.Time), what(*l)
	} else if s.Replaced {
		e.What = "another string hangs there now"
	}
	switch e.Now {
	case "good":
		r.Good++
	case "fault":
		r.Fault++
	default:
		r.Unproved++
	}
	r.Strings = append(r.Strings, e)
}

// what is everything a line says beside its columns.
func what(l record.Line) string {
	var parts []string
	if l.Seen != "" {
		parts = append(parts, "seen "+l.Seen)
	}
	if l.LastLit != nil {
		parts = append(parts, fmt.Sprintf("last lit pixel %d", *l.LastLit))
	}
	for _, r := range l.Readings {
		parts = append(parts, readingText(r))
	}
	if l.Note != "" {
		parts = append(parts, l.Note)
	}
	if l.Pattern != "" && l.Kind != record.Proof {
		parts = append(parts, shownText(l.Pattern, l.LevelPercent, 0))
	}
	return record.Shown(strings.Join(parts, "; "))
}

// readingText is a reading with what is needed to judge it.
func readingText(r record.Reading) string {
	text := fmt.Sprintf("%.2f %s", r.Value, r.Unit())
	if r.Feed != "" {
		text += " at feed " + r.Feed
	}
	if r.At != "" {
		text += " at " + r.At
	}
	if r.Expected != nil {
		text += fmt.Sprintf(" (expected %.2f %s)", *r.Expected, r.Unit())
	}
	switch {
	case r.Pattern != "":
		text += " with " + shownText(r.Pattern, r.LevelPercent, r.Count)
	case r.While != "":
		text += " while " + r.While
	}
	return text
}

func shownText(pattern string, level *float64, count int) string {
	text := pattern
	if level != nil {
		text += fmt.Sprintf(" %.0f %%", *level)
	}
	if count > 0 {
		text += fmt.Sprintf(" on %d pixels", count)
	}
	return text
}

// Text prints the report for a terminal.
func (r *Report) Text(w io.Writer) error {
	var b bytes.Buffer
	fmt.Fprintf(&b, "Proof record%s, printed %s %s\n", ofPlans(r.Plans), r.Printed, r.Zone)
	if r.Since != "" {
		fmt.Fprintf(&b, "Left out: proofs from before %s\n", r.Since)
	}
	fmt.Fprintf(&b, "%d good, %d at fault, %d unproved\n", r.Good, r.Fault, r.Unproved)
	if len(r.Strings) > 0 {
		fmt.Fprintln(&b)
		t := textout.NewTable("string", "label", "bench", "hung", "opening", "now", "when", "what")
		for _, s := range r.Strings {
			t.Add(s.Name, s.Label, s.Stages[0].Verdict, s.Stages[1].Verdict, s.Stages[2].Verdict, s.Now, s.When, s.What)
		}
		t.Print(&b)
	}
	if len(r.Log) > 0 {
		fmt.Fprintln(&b, "\nEverything recorded, oldest first")
		t := textout.NewTable("when", "kind", "string", "label", "stage", "verdict", "what")
		for _, l := range r.Log {
			t.Add(l.When, l.Kind, l.Subject, l.Label, l.Stage, l.Verdict, l.What)
		}
		t.Print(&b)
	}
	_, err := w.Write(b.Bytes())
	return err
}

func ofPlans(plans []string) string {
	if len(plans) == 0 {
		return ""
	}
	return " of " + strings.Join(plans, ", ")
}

// CSV prints one row for each line of the record, times in UTC.
func (r *Report) CSV(out io.Writer) error {
	w := textout.NewCSV(out)
	w.Row("time", "kind", "plan", "string", "label", "controller", "stage", "verdict", "seen", "last_lit", "pattern", "level_percent", "readings", "note")
	for _, l := range r.lines {
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
	return w.Flush()
}

// HTML prints the report for paper.
func (r *Report) HTML(w io.Writer) error { return page.Execute(w, r) }

//go:embed report.html
var pageText string

var page = template.Must(template.New("report").Parse(pageText))
