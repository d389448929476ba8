package report

import (
	"encoding/csv"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/protection"
	"yardproof/sacn/sacntest"
)

// evening is a record of an evening on Harbour Street, with text that means harm.
func evening() []record.Line {
	at := func(minute int) time.Time { return time.Date(2026, 11, 20, 17, minute, 0, 0, time.UTC) }
	const plan = "Harbour Street winter lights"
	amps := func(v, expected float64) []record.Reading {
		return []record.Reading{
			{Feed: "start", Quantity: "amps", Value: 0.09, While: "dark", Pattern: "dark", Expected: new(0.1)},
			{Feed: "start", Quantity: "amps", Value: v, While: "white", Pattern: "full-white", LevelPercent: new(100.0), Count: 30, Expected: new(expected)},
		}
	}
	return []record.Line{
		{Time: at(1), Kind: record.Proof, Plan: plan, String: "gable-left", Label: "C1", Stage: record.Bench, Verdict: record.Good},
		{Time: at(3), Kind: record.Proof, Plan: plan, String: "gable-right", Label: "C2", Stage: record.Hung, Verdict: record.Fault, LastLit: new(41), Note: "joint under the ridge tile"},
		{Time: at(9), Kind: record.Proof, Plan: plan, String: "gable-left", Label: "C1", Stage: record.Hung, Verdict: record.Good, Readings: amps(1.71, 1.7)},
		{Time: at(12), Kind: record.Proof, Plan: plan, String: "gable-ridge", Label: "C3", Stage: record.Hung, Verdict: record.Fault, Seen: "RGB", Note: "=HYPERLINK(\"x\")"},
		{Time: at(15), Kind: record.Proof, Plan: plan, String: "gable-ridge", Label: "C3", Stage: record.Hung, Verdict: record.Good, Seen: "GRB", Note: "-order set on the port"},
		{Time: at(18), Kind: record.Proof, Plan: plan, String: "quay-rail-west", Label: "B1", Stage: record.Hung, Verdict: record.Fault, LastLit: new(60), Readings: []record.Reading{
			{Quantity: "volts", At: "supply", Value: 12.1, While: "white", Pattern: "full-white", LevelPercent: new(60.0), Expected: new(12.0)},
			{Quantity: "volts", At: "pixel 61", Value: 0, While: "white", Pattern: "full-white", LevelPercent: new(60.0), Expected: new(11.6)}}},
		{Time: at(21), Kind: record.Replaced, Plan: plan, String: "gable-right", Label: "S4", Note: "spare from the van"},
		{Time: at(25), Kind: record.Inspection, Plan: plan, Controller: "boathouse", Note: "cable out for ten seconds: it holds", Pattern: "tick", LevelPercent: new(20.0)},
		{Time: at(31), Kind: record.Note, Plan: plan, Note: "\x1b[2Jrain since five <script>alert(1)</script>"},
		{Time: at(40), Kind: record.BurnIn, Plan: plan, Note: "step 2 of 5", Pattern: "full-white", LevelPercent: new(60.0)},
	}
}

// on is the report of these lines.
func on(t *testing.T, lines []record.Line, since time.Time, plan *config.Plan, now time.Time) *Report {
	t.Helper()
	dir := t.TempDir()
	l, _, err := record.Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	for _, line := range lines {
		if _, err := l.Append(line); err != nil {
			t.Fatal(err)
		}
	}
	source, err := record.OpenReader(dir)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { source.Close() })
	found := &protection.Report{Findings: []protection.Finding{
		{String: "gable-left", Brief: "The 5 A fuse at start does not see a short beyond pixel 40 <b>.", Mend: "a fuse of 3 A would see it"},
		{Place: "mains circuit hut", Brief: "Mains circuit hut: its supplies can take 20.0 A.", Mend: "move supplies of 7.2 A to another circuit"},
	}, Twice: []protection.Finding{{String: "quay-rail-west", Brief: "In two faults at once: the pitch can carry 11.00 A.", Mend: "fuses of at most 3 A on its feeds"}}}
	r, err := New(source, since, plan, found, now, time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func eveningReport(t *testing.T) *Report {
	t.Helper()
	plan, _ := config.Demo()
	return on(t, evening(), time.Time{}, plan, time.Date(2026, 11, 20, 18, 0, 0, 0, time.UTC))
}

func TestReportGolden(t *testing.T) {
	r := eveningReport(t)
	html, rows := sacntest.Printed(t, r.HTML), sacntest.Printed(t, r.CSV)
	for name, got := range map[string]string{"report.txt": sacntest.Printed(t, r.Text), "report.html": html, "report.csv": rows} {
		sacntest.Golden(t, filepath.Join("..", "..", "..", "..", "testdata", "record", name), got)
		for _, c := range got {
			if c < ' ' && c != '\n' || c >= 0x7f && c < 0xa0 {
				t.Errorf("%s holds %U", name, c)
			}
		}
	}
	if strings.Contains(html, "<script") {
		t.Error("the sheet holds a script")
	}
	// One self-contained sheet: it names nothing outside itself.
	if ref := regexp.MustCompile(`(?i)(https?:|src=|href=|url\(|@import)`).FindString(html); ref != "" {
		t.Errorf("the sheet refers to %s", ref)
	}
	parsed, err := csv.NewReader(strings.NewReader(rows)).ReadAll()
	if err != nil || len(parsed) != 1+len(evening()) {
		t.Fatalf("%d rows, %v", len(parsed), err)
	}
	for _, row := range parsed[1:] {
		for _, cell := range row {
			if strings.HasPrefix(cell, "=") || strings.HasPrefix(cell, "+") || strings.HasPrefix(cell, "-") || strings.HasPrefix(cell, "@") {
				t.Errorf("cell %q is a formula to a spreadsheet", cell)
			}
		}
	}
}

// A label that the plan has changed since is another physical string: unproved.
func TestReportAnotherLabel(t *testing.T) {
	plan, _ := config.Demo()
	lines := []record.Line{{Kind: record.Proof, String: "gable-left", Label: "S9", Verdict: record.Good}}
	for _, s := range on(t, lines, time.Time{}, plan, time.Now()).Strings {
		if s.Name == "gable-left" && (s.Now != "unproved" || s.Label != "C1") {
			t.Errorf("%+v", s)
		}
	}
	if r := on(t, lines, time.Time{}, nil, time.Now()); r.Good != 1 {
		t.Errorf("without a plan: %+v", r.Strings)
	}
}

// A spare that was hung before the date still hangs there.
func TestReportSinceKeepsSpare(t *testing.T) {
	plan, _ := config.Demo()
	at := func(day int) time.Time { return time.Date(2026, 11, day, 12, 0, 0, 0, time.UTC) }
	lines := []record.Line{
		{Time: at(1), Kind: record.Proof, String: "gable-left", Label: "C1", Verdict: record.Fault},
		{Time: at(2), Kind: record.Replaced, String: "gable-left", Label: "S9"},
		{Time: at(20), Kind: record.Proof, String: "gable-left", Label: "S9", Verdict: record.Good},
	}
	r := on(t, lines, at(10), plan, at(21))
	if r.Good != 1 || r.Listed() != 1 || r.Since != "2026-11-10 12:00" {
		t.Errorf("%d good, %d lines", r.Good, r.Listed())
	}
}

// Lines are in the order of their times, and one that was written after a later one
// says so: the clock had gone back.
func TestReportByTime(t *testing.T) {
	at := func(hour int) time.Time { return time.Date(2026, 11, 20, hour, 0, 0, 0, time.UTC) }
	r := on(t, []record.Line{
		{Time: at(18), Kind: record.Note, Note: "written first"},
		{Time: at(17), Kind: record.Note, Note: "written second"},
		{Time: at(19), Kind: record.Note, Note: "written third"},
	}, time.Time{}, nil, at(20))
	text := sacntest.Printed(t, r.Text)
	want := "17:00  note  written second (written after 2026-11-20 18:00: the clock went back)\n2026-11-20 18:00  note  written first\n2026-11-20 19:00"
	if !strings.Contains(text, want) || len(r.Notes) != 1 || !strings.Contains(r.Notes[0], "went back 1 time ") {
		t.Errorf("%q\n%s", r.Notes, text)
	}
}
