package opening

import (
	"net/netip"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/burnin"
	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/sacn/listener"
	"yardproof/sacn/sacntest"
)

var night = time.Date(2026, 12, 1, 16, 0, 0, 0, time.UTC)

func hoursOf(h float64) burnin.Seconds { return burnin.Seconds(h * float64(time.Hour)) }

// street is the built-in plan on opening night with these lines on record.
func street(t *testing.T, lines ...record.Line) Facts {
	t.Helper()
	plan, problems := config.Demo()
	if len(problems) > 0 {
		t.Fatal(problems)
	}
	var index record.Index
	for i := range lines {
		index.Add(&lines[i])
	}
	return Facts{Plan: plan, Budget: budget.New(plan), Standings: index.Standings(), Seen: index.Seen, Now: night, Zone: time.UTC}
}

// allGood is a record in which everything was done.
func allGood(t *testing.T) Facts {
	t.Helper()
	plan, _ := config.Demo()
	var lines []record.Line
	served := map[string]burnin.Served{}
	for _, s := range plan.Strings {
		var readings []record.Reading
		for _, f := range s.Feeds {
			readings = append(readings, record.Reading{Feed: f.At, Quantity: "amps", Value: 1, While: "white"})
		}
		for _, stage := range record.Stages() {
			lines = append(lines, record.Line{Time: night.Add(-time.Hour), Kind: record.Proof, String: s.Name, Label: s.Label, Stage: stage, Verdict: record.Good, Readings: readings})
		}
		served[s.Name] = burnin.Served{Label: s.Label, Served: hoursOf(48)}
	}
	for _, c := range plan.Controllers {
		lines = append(lines, record.Line{Time: night, Kind: record.Inspection, Controller: c.Name, Seen: "dark"})
	}
	f := street(t, lines...)
	f.Plan.Controllers[1].OnLoss = config.OnLossDark
	f.Burned = burnin.Progress{Strings: served, Looks: 2, LastLook: night.Add(-90 * time.Minute)}
	f.Heard = &Heard{Where: "eth0"}
	f.Ended = &Ended{Time: night.Add(-time.Minute), Universes: Universes(plan), Terminated: true, Says: "sent 1200 frames in 10800 packets, skipped 0; the streams are terminated"}
	return f
}

func part(t *testing.T, f Facts, title string) Part {
	t.Helper()
	for _, p := range New(f).Parts {
		if p.Title == title {
			return p
		}
	}
	t.Fatalf("there is no part %q", title)
	return Part{}
}

// Where everything was done the sheet says go; each thing that is missing takes it away,
// in its own part.
func TestOneThingMissing(t *testing.T) {
	if s := New(allGood(t)); s.State != Go {
		t.Fatalf("with everything done: %+v", s)
	}
	other := listener.CompetingSource{Universe: 11, Name: "show desk", Address: netip.MustParseAddr("192.0.2.7"), Priority: 100, Precedence: listener.Tie}
	for _, tt := range []struct {
		name, title string
		state       State
		says        string
		change      func(*Facts)
	}{
		{"a fault", "Open faults", NoGo, "9 days: gable-left (C1), hung: flickers; last good pixel 4", func(f *Facts) {
			i := slices.IndexFunc(f.Standings, func(s record.Standing) bool { return s.String == "gable-left" })
			four := 4
			l := &record.Line{Time: night.Add(-9*24*time.Hour - time.Hour), Kind: record.Proof, Stage: record.Hung, Verdict: record.Fault, Seen: "flickers", LastLit: &four}
			f.Standings[i].Latest, f.Standings[i].ByStage[record.Hung] = l, l
		}},
		{"not proved where hung", "Proofs", NoGo, "1 string not proved where hung", func(f *Facts) {
			delete(f.Standings[0].ByStage, record.Hung)
			delete(f.Standings[0].ByStage, record.Opening)
		}},
		{"not proved on the night", "Proofs", Check, "1 string not proved at opening", func(f *Facts) { delete(f.Standings[0].ByStage, record.Opening) }},
		{"too few hours", "Burn-in", Check, "1 string not sent 48 h yet", func(f *Facts) { f.Burned.Strings["gable-left"] = burnin.Served{Label: "C1", Served: hoursOf(3)} }},
		{"another string's hours", "Burn-in", Check, "gable-left (C1) 0 h", func(f *Facts) { f.Burned.Strings["gable-left"] = burnin.Served{Label: "S9", Served: hoursOf(48)} }},
		{"no burn-in", "Burn-in", Check, "There was no burn-in", func(f *Facts) { f.Burned = burnin.Progress{} }},
		{"nobody looked", "Burn-in", Check, "Hours sent do not prove light", func(f *Facts) { f.Burned.Looks = 0 }},
		{"a feed not read", "Feeds", Check, "1 of 22 not read under white", func(f *Facts) {
			for _, l := range f.Standings[0].ByStage {
				l.Readings = l.Readings[:1]
			}
		}},
		{"a feed read far off", "Feeds", Check, "gable-left (C1) start: 0.85 A of 3.24 A white (hung)", func(f *Facts) {
			i := slices.IndexFunc(f.Standings, func(s record.Standing) bool { return s.String == "gable-left" })
			l := *f.Standings[i].ByStage[record.Hung]
			l.Readings = append(slices.Clone(l.Readings), record.Reading{Feed: "start", Quantity: "amps", Value: 0.85, While: "white", Expected: new(3.24), Least: new(2.67), Most: new(3.8)})
			f.Standings[i].ByStage[record.Hung] = &l
		}},
		{"a controller nobody knows", "When data stops", Check, "What 1 controller does is not known", func(f *Facts) {
			f.Plan.Controllers[1].OnLoss, f.Plan.Controllers[2].OnLoss, f.Seen = config.OnLossUnknown, config.OnLossDark, new(record.Index).Seen
		}},
		{"a controller known from the plan", "When data stops", Check, "3 controllers known from the plan alone", func(f *Facts) { f.Seen = new(record.Index).Seen; f.Plan.Controllers[2].OnLoss = config.OnLossDark }},
		{"somebody else, after the end", "Who else sends", Check, `universe 11: "show desk" at 192.0.2.7, priority 100`, func(f *Facts) { f.Heard.Others = []listener.CompetingSource{other} }},
		{"somebody else, while we send", "Who else sends", NoGo, "either may win", func(f *Facts) { f.Heard.Others, f.Sending = []listener.CompetingSource{other}, []uint16{11} }},
		{"not listened for", "Who else sends", Check, "Not listened for", func(f *Facts) { f.Heard = nil }},
		{"still sending", "Hand-over", Check, "still sends universes 11-12", func(f *Facts) { f.Sending = []uint16{11, 12} }},
		{"killed", "Hand-over", Check, "How it ended last is not known", func(f *Facts) { f.Ended = nil }},
		{"not terminated", "Hand-over", Check, "could not be terminated", func(f *Facts) { f.Ended.Terminated, f.Ended.Says = false, "the streams could not be terminated" }},
		{"a copy is heard", "Hand-over", NoGo, "still heard on universe 31", func(f *Facts) { f.Heard.Own = []uint16{31} }},
		{"silence not measured", "Hand-over", Check, "not measured: no CID", func(f *Facts) { f.Heard.NotOwn = "no CID" }},
	} {
		f := allGood(t)
		tt.change(&f)
		p := part(t, f, tt.title)
		if all := p.Says + strings.Join(p.Items, "\n"); p.State != tt.state || !strings.Contains(all, tt.says) {
			t.Errorf("%s: %s, want %s with %q:\n%s", tt.name, p.State, tt.state, tt.says, all)
		}
		if s := New(f); s.State == Go {
			t.Errorf("%s: the sheet says go", tt.name)
		}
	}
}

// The levels are those of the plan's fuses: less of a supply, less of white.
func TestLevels(t *testing.T) {
	f := allGood(t)
	f.Plan.Supplies[0].Watts /= 4
	f.Budget = budget.New(f.Plan)
	if p := part(t, f, "Levels and fuses"); p.State != Check || !strings.Contains(p.Says, "at most 4") || !strings.Contains(strings.Join(p.Items, ""), "bandstand-a") {
		t.Errorf("%+v", p)
	}
}

func TestGolden(t *testing.T) {
	one := 41
	f := street(t,
		record.Line{Time: night.Add(-20 * 24 * time.Hour), Kind: record.Proof, String: "quay-rail-west", Label: "B1", Stage: record.Hung, Verdict: record.Fault, Seen: "dark after a pixel", LastLit: &one, Note: "<b>\x1b[2Jrain</b>"},
		record.Line{Time: night.Add(-5 * time.Hour), Kind: record.Proof, String: "gable-left", Label: "C1", Stage: record.Hung, Verdict: record.Good,
			Readings: []record.Reading{{Feed: "start", Quantity: "amps", Value: 2.7, While: "white"}}},
		record.Line{Time: night.Add(-4 * time.Hour), Kind: record.Proof, String: "gable-right", Label: "C2", Stage: record.Opening, Verdict: record.Fault, Seen: "flickers"},
		record.Line{Time: night, Kind: record.Inspection, Controller: "boathouse", Seen: "holds"})
	f.Burned = burnin.Progress{Strings: map[string]burnin.Served{"gable-left": {Label: "C1", Served: hoursOf(30)}, "gable-right": {Label: "C2", Served: hoursOf(7.4)}}, Looks: 1, LastLook: night.Add(-26 * time.Hour)}
	f.Sending = Universes(f.Plan)
	s := New(f)
	for name, got := range map[string]string{"opening.txt": sacntest.Printed(t, s.Text), "opening.html": sacntest.Printed(t, s.HTML)} {
		sacntest.Golden(t, filepath.Join("..", "..", "..", "..", "testdata", "record", name), got)
		if strings.ContainsRune(got, '\x1b') || name == "opening.html" && strings.Contains(got, "<b><U+") {
			t.Errorf("%s holds what somebody typed as it was", name)
		}
	}
}

// An end is known only where it was written down as a whole.
func TestReadEnded(t *testing.T) {
	dir := t.TempDir()
	for text, want := range map[string]bool{
		"": false, "null": false, "{": false, `{"time":"2026-12-01T15:59:00Z","universes":[1],"terminated":true,"says":"the end"}`: true,
	} {
		sacntest.Write(t, filepath.Join(dir, EndedFile), text)
		if e := ReadEnded(dir); (e != nil) != want || e != nil && !e.Terminated {
			t.Errorf("%q: %+v", text, e)
		}
	}
	if e := ReadEnded(t.TempDir()); e != nil {
		t.Errorf("of an empty directory: %+v", e)
	}
}
