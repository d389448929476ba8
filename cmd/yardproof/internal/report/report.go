// Package report is the sheet of proofs: the record as people read it in a terminal,
// on paper and in a spreadsheet. It refuses to know about flags.
package report

import (
	"bufio"
	"cmp"
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/config/protection"
	"yardproof/patterns"
)

// A Report is the record as people read it: every text in it is fit to be shown.
// The lines themselves stay in the file, and are read again when they are printed.
type Report struct {
	Plans                 []string
	Printed               string
	Since                 string // what was recorded before is left out; "": nothing is
	Zone                  string
	Good, Fault, Unproved int
	Planned               bool // a plan says which strings there are, so what is unproved is known
	Stages                []record.Stage
	Strings               []standing
	InFault               []inFault // what the plan's wires and fuses do
	Recorded              int       // lines, with those that are left out
	Notes                 []string
	Cautions              []string
	Places                []Places // where films on record saw pixels

	source *record.Reader
	order  []entry // the lines by time
	table  *textout.Table
	zone   *time.Location
	err    error // why a line could not be read again
}

type standing struct {
	Name, Label string
	Stages      []mark // one for each stage
	Now         string // good, fault or unproved
	When, Day   string
	What        string
	Earlier     int // proofs that no longer count
}

// inFault is what the plan's strings do in a fault, under a title.
type inFault struct {
	Title  string
	Faults []fault
}

// fault is a string of the plan and what happens there.
type fault struct{ Name, What string }

type mark struct{ Stage, Verdict, Day string }

const unproved = "unproved"

// Open reads the record in a state directory, as [New] does, and where films on record saw
// pixels. The report reads it again when it is printed, until Close.
func Open(dir string, since time.Time, plan *config.Plan, found *protection.Report) (*Report, error) {
	source, err := record.OpenReader(dir)
	if err != nil {
		return nil, err
	}
	r, err := New(source, since, plan, found, time.Now(), time.Local)
	if err != nil {
		source.Close()
		return nil, err
	}
	if r.Places, err = placesOf(dir); err != nil {
		r.Notes = append(r.Notes, err.Error())
	}
	return r, nil
}

// Close closes the record.
func (r *Report) Close() error { return r.source.Close() }

// ParseSince reads a date, with or without the time of day; "" is the zero time.
func ParseSince(text string) (from time.Time, err error) {
	if text == "" {
		return from, nil
	}
	for _, form := range []string{textout.Minutes, time.DateOnly} {
		if from, err = time.ParseInLocation(form, text, time.Local); err == nil {
			return from, nil
		}
	}
	return from, fmt.Errorf("%q is no date; write it as 2026-11-01, or with the time of day as \"2026-11-01 16:00\"", text)
}

// New reads the record. It leaves out what was recorded before since. A spare that
// was hung before still hangs there: else its later proofs would be another string's.
// Plan and what was found of its protection may be nil.
func New(source *record.Reader, since time.Time, plan *config.Plan, found *protection.Report, now time.Time, zone *time.Location) (*Report, error) {
	r := &Report{
		Printed: now.In(zone).Format(textout.Minutes), Zone: now.In(zone).Format("MST"), Stages: record.Stages(),
		source: source, table: textout.NewTable(heads...), zone: zone, Cautions: budget.Cautions(), Planned: plan != nil,
	}
	if !since.IsZero() {
		r.Since = since.In(zone).Format(textout.Minutes)
	}
	var index record.Index
	if err := r.read(&index, since); err != nil {
		return nil, err
	}
	standings := index.Standings()
	if plan != nil {
		standings = record.InPlan(standings, plan.Labels())
	}
	for _, s := range standings {
		r.add(s)
	}
	if found != nil {
		shown := func(list []protection.Finding) (faults []fault) {
			for _, f := range list {
				faults = append(faults, fault{record.Shown(f.String), record.Shown(f.Ladder())})
			}
			return faults
		}
		r.InFault = []inFault{
			{"What the plan does in a fault: wiring that a licensed person should put right", shown(found.Findings)},
			{"What it does while a return or a fuse is open: switch the supply off before you open either", shown(found.Twice)},
		}
	}
	return r, nil
}

func (r *Report) when(t time.Time) string { return t.In(r.zone).Format(textout.Minutes) }

func (r *Report) day(t time.Time) string { return t.In(r.zone).Format(time.DateOnly) }

func (r *Report) add(s record.Standing) {
	e := standing{Name: record.Shown(s.String), Label: record.Shown(s.Label), Now: unproved, Earlier: s.Proofs}
	for _, stage := range r.Stages {
		m := mark{Stage: string(stage)}
		if l := s.ByStage[stage]; l != nil {
			m.Verdict, m.Day = string(l.Verdict), r.day(l.Time)
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
	if l.Seen != "" && l.Kind != record.Note { // a note has it in words
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
	text := strings.TrimPrefix(fmt.Sprintf("%s %.2f %s", r.While, r.Value, r.Unit()), " ")
	if r.Feed != "" {
		text += " at feed " + r.Feed
	}
	if r.At != "" && r.Quantity != "amps" { // amps are those of the feed
		text += " at " + r.At
	}
	var of []string
	if r.Expected != nil {
		off := ""
		if r.Off() {
			off = ", far off"
		}
		of = append(of, fmt.Sprintf("expected %.2f %s%s", *r.Expected, r.Unit(), off))
	}
	shown, _ := patterns.Lookup(r.Pattern)
	switch lit := r.While == record.WhileWhite && shown.Load; {
	case r.While == record.WhileDark && shown.Dark, r.Pattern == "":
	case lit && r.Count > 0:
		of = append(of, textout.Count(r.Count, "pixel")+" lit")
	case lit && r.LevelPercent != nil:
		of = append(of, fmt.Sprintf("level %.0f %%", *r.LevelPercent))
	default:
		of = append(of, shownText(r.Pattern, r.LevelPercent, r.Count)+" was shown")
	}
	if len(of) > 0 {
		text += " (" + strings.Join(of, ", ") + ")"
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

// Open are the strings at fault.
func (r *Report) Open() []standing {
	var open []standing
	for _, s := range r.Strings {
		if s.Now == string(record.Fault) {
			open = append(open, s)
		}
	}
	return open
}

// ToProve names the strings that nobody has proved.
func (r *Report) ToProve() string {
	var names []string
	for _, s := range r.Strings {
		if s.Now == unproved {
			names = append(names, s.Called())
		}
	}
	return strings.Join(names, ", ")
}

// Called is a string by its name and its tag.
func (s standing) Called() string {
	switch {
	case s.Name == "":
		return s.Label
	case s.Label == "":
		return s.Name
	}
	return s.Name + " (" + s.Label + ")"
}

// Print prints the report as csv, html or text.
func (r *Report) Print(w io.Writer, format string) error {
	switch format {
	case "csv":
		return r.CSV(w)
	case "html":
		return r.HTML(w)
	}
	return r.Text(w)
}

// Text prints the report for a terminal.
func (r *Report) Text(w io.Writer) error {
	b := bufio.NewWriter(w)
	fmt.Fprintf(b, "Proof record%s, printed %s %s\n", ofPlans(r.Plans), r.Printed, r.Zone)
	if r.Since != "" {
		fmt.Fprintf(b, "Left out: proofs from before %s\n", r.Since)
	}
	fmt.Fprintf(b, "%d good, %d at fault, ", r.Good, r.Fault)
	if r.Planned || r.Unproved > 0 {
		fmt.Fprintf(b, "%d unproved\n", r.Unproved)
	} else {
		fmt.Fprintln(b, "how many are unproved is not known: name the plan")
	}
	if open := r.Open(); len(open) > 0 {
		fmt.Fprintln(b, "\nFaults open")
		for _, s := range open {
			fmt.Fprintf(b, "  %s: %s\n", s.Called(), cmp.Or(s.What, "nothing is said of it"))
		}
	}
	if names := r.ToProve(); names != "" {
		fmt.Fprintf(b, "\nTo prove: %s\n", names)
	}
	if len(r.Strings) > 0 {
		fmt.Fprintln(b)
		t := textout.NewTable("string", "label", "bench", "hung", "opening", "now", "when", "what")
		for _, s := range r.Strings {
			t.Add(s.Name, s.Label, s.Stages[0].Verdict, s.Stages[1].Verdict, s.Stages[2].Verdict, s.Now, s.When, s.What)
		}
		t.Print(b)
	}
	for _, list := range r.InFault {
		if len(list.Faults) == 0 {
			continue
		}
		fmt.Fprintf(b, "\n%s\n", list.Title)
		t := textout.NewTable("string", "what")
		for _, f := range list.Faults {
			t.Add(f.Name, f.What)
		}
		t.Print(b)
	}
	for _, p := range r.Places {
		fmt.Fprintf(b, "\nWhere pixels were seen, by the %s: %s; --format html draws it\n", p.Called, p.Kept)
	}
	r.err = nil
	if r.Listed() > 0 {
		fmt.Fprintln(b, "\nEverything recorded, oldest first")
		r.table.Stream(b, r.rows())
	}
	return errors.Join(r.err, b.Flush())
}

func ofPlans(plans []string) string {
	if len(plans) == 0 {
		return ""
	}
	return " of " + strings.Join(plans, ", ")
}

// HTML prints the report for paper.
func (r *Report) HTML(w io.Writer) error {
	out := bufio.NewWriter(w)
	r.err = nil
	return errors.Join(page.Execute(out, r), r.err, out.Flush())
}

//go:embed report.html
var pageText string

var page = template.Must(template.New("report").Parse(pageText))
