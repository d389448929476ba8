package web

import (
	"fmt"
	"math"
	"net/http"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/budget"
)

func (y *yard) proofs(t *testing.T) map[string]record.Line {
	t.Helper()
	var got struct{ Proofs []record.Line }
	y.do(t, "GET", "/api/proofs", "").json(&got)
	m := map[string]record.Line{}
	for _, l := range got.Proofs {
		m[l.String+" "+string(l.Stage)] = l
	}
	return m
}

func TestProof(t *testing.T) {
	y := newYard(t, nil)
	y.frames(time.Second)
	y.do(t, "POST", "/api/show", `{"pattern":"full-white","strings":["gable-left"],"level_percent":100,"count":10}`)
	y.frames(20 * time.Second) // white has fallen back by the time the reading is typed in
	got := y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung","note":"dry","readings":[
		{"feed":"start","quantity":"amps","at":"supply","value":0.05,"while":"dark"},
		{"feed":"start","quantity":"amps","at":"supply","value":0.58,"while":"white"},
		{"quantity":"volts","at":"pixel 50","value":11.2,"while":"white"}]}`)
	if got.Code != http.StatusCreated {
		t.Fatalf("%d %s", got.Code, got.Body)
	}
	var line record.Line
	got.json(&line)
	if line.Time.IsZero() || line.Kind != record.Proof || line.Label != "C1" || line.Plan == "" || line.Pattern != "dark" || line.LevelPercent == nil {
		t.Errorf("the line is %+v", line)
	}
	// Ten of fifty pixels at 55 mA, beside the idle current of the others.
	idle := *line.Readings[0].Expected
	white := line.Readings[1]
	if want := idle + (2.75-idle)*10/50; white.Count != 10 || white.Pattern != "full-white" || math.Abs(*white.Expected-want) > 0.02 {
		t.Errorf("expected %v A with %d pixels, by hand %.3f", *white.Expected, white.Count, want)
	}
	if v := line.Readings[2]; v.Expected == nil || *v.Expected > 12 || *v.Expected < 10 {
		t.Errorf("volts at the end are %+v", v)
	}
	// It is on disk: a restart knows it.
	text, err := os.ReadFile(filepath.Join(y.cfg.State, record.FileName))
	if err != nil || strings.Count(string(text), "\n") != 1 {
		t.Errorf("the file is %q, %v", text, err)
	}
	if p := y.proofs(t)["gable-left hung"]; p.Verdict != record.Good {
		t.Errorf("the proof is %+v", p)
	}
	// Given again: the later counts, both are kept. Another stage stands beside it.
	y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"fault","stage":"hung","seen":"flickers","last_lit":12}`)
	y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"bench"}`)
	p := y.proofs(t)
	if p["gable-left hung"].Verdict != record.Fault || *p["gable-left hung"].LastLit != 12 || p["gable-left bench"].Verdict != record.Good || y.cfg.Record.Len() != 3 {
		t.Errorf("the proofs are %+v", p)
	}
	// A spare starts unproved, and its own proofs carry its label.
	y.wants(t, http.StatusCreated, "POST", "/api/replacements", `{"string":"gable-left","label":"S7","stage":"hung"}`)
	if p := y.proofs(t); len(p) != 0 {
		t.Errorf("after the replacement: %+v", p)
	}
	y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung"}`)
	if p := y.proofs(t)["gable-left hung"]; p.Label != "S7" {
		t.Errorf("the spare's proof is %+v", p)
	}
}

func TestProofsRefused(t *testing.T) {
	y := newYard(t, nil)
	reading := func(r string) string {
		return `{"string":"gable-left","verdict":"good","stage":"hung","readings":[` + r + `]}`
	}
	for path, bodies := range map[string][]string{
		"/api/proofs": {
			`{}`, `{"string":"none","verdict":"good","stage":"hung"}`, `{"string":"gable-left","verdict":"fine","stage":"hung"}`,
			`{"string":"gable-left","verdict":"good","stage":"loft"}`, `{"string":"gable-left","verdict":"fault","stage":"hung","last_lit":51}`,
			`{"string":"gable-left","verdict":"fault","stage":"hung","last_lit":-1}`, `{"string":"gable-left","verdict":"fault","stage":"hung","last_lit":1.5}`,
			`{"string":"gable-left","verdict":"good","stage":"hung","time":"2020-01-01T00:00:00Z"}`, // the server stamps it
			`{"string":"gable-left","verdict":"good","stage":"hung","note":"` + strings.Repeat("x", 4001) + `"}`,
			reading(`{"quantity":"ohms","value":1,"while":"white"}`), reading(`{"quantity":"amps","value":1e9,"while":"white"}`),
			reading(`{"quantity":"amps","value":1,"while":"lit"}`), reading(`{"quantity":"volts","at":"pixel 51","value":1,"while":"white"}`),
			reading(`{"quantity":"volts","at":"pixel 0","value":1}`), reading(`{"quantity":"volts","at":"../x","value":1}`),
			reading(`{"quantity":"amps","feed":"middle","value":1}`), reading(`{"quantity":"amps","value":"1"}`),
		},
		"/api/replacements": {`{}`, `{"string":"gable-left","label":" "}`, `{"string":"none","label":"S1"}`, `{"string":"gable-left","label":"` + strings.Repeat("x", 201) + `"}`},
		"/api/notes":        {`{}`, `{"note":"  "}`, `{"note":"x","string":"none"}`, `{"note":"x","stage":"loft"}`},
		"/api/looks":        {`{}`, `{"seen":""}`, `{"seen":"dark","controller":"none"}`},
	} {
		for _, body := range bodies {
			y.wants(t, http.StatusBadRequest, "POST", path, body)
		}
	}
	if n := y.cfg.Record.Len(); n != 0 {
		t.Errorf("%d lines were kept", n)
	}
}

// A line that is sent again, since its answer was lost, is recorded once and answered as
// then, whatever has changed since.
func TestSentAgain(t *testing.T) {
	y := newYard(t, nil)
	for i, tt := range []struct{ path, first, late string }{
		{"/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung","once":"k0"}`, `{"string":"gable-left","verdict":"good","stage":"hung","note":"tapped at 17:03, sent later","once":"k0"}`},
		{"/api/replacements", `{"string":"gable-left","label":"S7","once":"k1"}`, `{"string":"gable-left","label":"S7","once":"k1"}`}, // S7 hangs there by now
		{"/api/notes", `{"note":"wet","once":"k2"}`, `{"note":"wet; sent later","once":"k2"}`},
		{"/api/looks", `{"seen":"all lit","once":"k3"}`, `{"seen":"all lit","once":"k3"}`},
	} {
		first := y.do(t, "POST", tt.path, tt.first)
		again := y.do(t, "POST", tt.path, tt.late)
		if first.Code != http.StatusCreated || again.Code != http.StatusOK || first.Body.String() != again.Body.String() {
			t.Errorf("%s: %d %s, then %d %s", tt.path, first.Code, first.Body, again.Code, again.Body)
		}
		if n := y.cfg.Record.Len(); n != i+1 {
			t.Errorf("%s: %d lines are kept, want %d", tt.path, n, i+1)
		}
	}
	plan, _ := config.Demo()
	y.session.Reload(plan, budget.New(plan)) // in which there is no such string
	y.wants(t, http.StatusOK, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung","once":"k0"}`)
	for _, body := range []string{`{"note":"x","once":"two words"}`, `{"note":"x","once":"k0"}`} { // the second is the proof's
		y.wants(t, http.StatusBadRequest, "POST", "/api/notes", body)
	}
}

// What an expected value claims is stamped here, whatever a client sends.
func TestStampIsOurs(t *testing.T) {
	y := newYard(t, nil)
	var line record.Line
	y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung","readings":[
		{"quantity":"amps","value":0.05,"while":"dark","expected":99,"pattern":"walk","count":3,"level_percent":7}]}`).json(&line)
	if r := line.Readings[0]; *r.Expected > 1 || r.Pattern != "dark" || r.Count != 0 || *r.LevelPercent != 0 {
		t.Errorf("the reading is %+v", r)
	}
}

// What is stamped is what that string showed when it was read: not another string's
// picture, and not an earlier white.
func TestStampIsOfThisString(t *testing.T) {
	y := newYard(t, nil)
	const one, both, other = `"strings":["gable-left"]`, `"strings":["gable-left","gable-right"]`, `"strings":["gable-right"]`
	for _, tt := range []struct {
		show    string
		while   string
		pattern string
		level   float64
	}{
		{`{"pattern":"full-white",` + other + `,"level_percent":50}`, "white", "", 0}, // it was never white
		{`{"pattern":"full-white",` + one + `,"level_percent":100}`, "white", "full-white", 100},
		{`{"pattern":"full-white",` + both + `,"level_percent":20}`, "white", "full-white", 20},
		{`{"pattern":"full-white",` + other + `,"level_percent":50}`, "white", "full-white", 20}, // as it was last
		{`{"pattern":"full-white",` + other + `,"level_percent":50}`, "", "dark", 0},
	} {
		y.do(t, "POST", "/api/show", tt.show)
		y.frames(5 * time.Second)
		var line record.Line
		y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","readings":[{"feed":"start","quantity":"amps","value":1,"while":"`+tt.while+`"}]}`).json(&line)
		r := line.Readings[0]
		level := 0.0
		if r.LevelPercent != nil {
			level = *r.LevelPercent
		}
		if r.Pattern != tt.pattern || level != tt.level || (r.Expected != nil) != (tt.pattern != "") {
			t.Errorf("%s while %q: %q at %v, %+v", tt.show, tt.while, r.Pattern, level, r)
		}
	}
}

// Volts along the string are expected from those measured at the supply.
func TestStampFromMeasuredSupply(t *testing.T) {
	y := newYard(t, nil)
	y.do(t, "POST", "/api/show", `{"pattern":"full-white","strings":["gable-left"],"level_percent":100}`)
	read := func(supply string) []record.Reading {
		var line record.Line
		y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","readings":[`+supply+`{"quantity":"volts","at":"pixel 50","value":11,"while":"white"}]}`).json(&line)
		return line.Readings
	}
	nominal := *read("")[0].Expected
	for _, tt := range []struct{ supply, more float64 }{{12.5, 0.5}, {11.8, -0.2}, {3, 0}} {
		got := read(fmt.Sprintf(`{"quantity":"volts","at":"supply","value":%g,"while":"white"},`, tt.supply))
		if *got[0].Expected != 12 || math.Abs(*got[1].Expected-nominal-tt.more) > 0.02 {
			t.Errorf("supply at %v V: %v V expected there, %v V at the end, %v V with the plan's", tt.supply, *got[0].Expected, *got[1].Expected, nominal)
		}
	}
}

// What may be off by wire, pixels and the plan's meter (3 % + 0.1 A) stands beside the
// current: 2.75 A of white on 50 pixels at 55 mA.
func TestReadingFarOff(t *testing.T) {
	y := newYard(t, nil)
	y.do(t, "POST", "/api/show", `{"pattern":"full-white","strings":["gable-left"],"level_percent":100}`)
	for value, off := range map[string]bool{"0.85": true, "2.7": false, "2.8": false, "4.1": true} {
		var line record.Line
		y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","readings":[{"feed":"start","quantity":"amps","value":`+value+`,"while":"white","least":0,"most":99}]}`).json(&line)
		if r := line.Readings[0]; r.Off() != off || r.Least == nil || *r.Least > *r.Expected-0.1 || *r.Most < *r.Expected+0.1 {
			t.Errorf("%s A: off %v of %v to %v", value, r.Off(), *r.Least, *r.Most)
		}
	}
	// The meter that the page judged by is the one that the record judges by.
	var line record.Line
	y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","meter":"50% + 0.1 A","readings":[{"feed":"start","quantity":"amps","value":4.1,"while":"white"}]}`).json(&line)
	if r := line.Readings[0]; r.Off() {
		t.Errorf("4.1 A by a meter of 50 %%: off %v to %v", *r.Least, *r.Most)
	}
	y.wants(t, 400, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","meter":"good"}`)
}

func TestNotKeptIsSaid(t *testing.T) {
	y := newYard(t, nil)
	y.cfg.Record.Close()
	got := y.do(t, "POST", "/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung"}`)
	if got.Code != http.StatusServiceUnavailable || !strings.Contains(got.Body.String(), "Not saved") {
		t.Errorf("%d %s", got.Code, got.Body)
	}
	if p := y.proofs(t); len(p) != 0 {
		t.Errorf("it is told as kept: %+v", p)
	}
}

func TestLooksAndNotes(t *testing.T) {
	y := newYard(t, nil)
	for path, body := range map[string]string{
		"/api/looks": `{"controller":"boathouse","seen":"holds","note":"cable pulled"}`,
		"/api/notes": `{"string":"gable-left","stage":"hung","note":"=cmd() marked"}`,
	} {
		y.wants(t, http.StatusCreated, "POST", path, body)
	}
	if n := y.cfg.Record.Len(); n != 2 {
		t.Errorf("%d lines are kept", n)
	}
	var plan struct{ Controllers []struct{ Name, Seen string } }
	y.do(t, "GET", "/api/plan", "").json(&plan)
	if c := plan.Controllers[1]; c.Name != "boathouse" || c.Seen != "holds" {
		t.Errorf("the controller is told as %+v", c)
	}
}

// What was put right on one string, and proved good, is thought of first where another
// one looks the same, and said to have been in this yard before.
func TestPutRightBefore(t *testing.T) {
	y := newYard(t, nil)
	type weighed struct {
		Weighed struct {
			Causes []struct {
				Kind, Because string
				Share         float64
			}
			Mends []string
		}
	}
	look := func() (w weighed) {
		t.Helper()
		y.do(t, "POST", "/api/diagnose", `{"string":"gable-right","looks":["white=dark-tail@12","ends=dark-tail@12"]}`).json(&w)
		return w
	}
	share := func(w weighed, kind string) (float64, string) {
		for i, c := range w.Weighed.Causes {
			if c.Kind == kind {
				return c.Share, c.Because + w.Weighed.Mends[i]
			}
		}
		return 0, ""
	}
	const kind = "broken power wire"
	before, _ := share(look(), kind)
	for range 3 {
		for _, one := range [][2]string{
			{"/api/notes", `{"string":"gable-left","note":"Put right: V+ is broken","mended":"mended=broken-power-wire@7"}`},
			{"/api/proofs", `{"string":"gable-left","verdict":"good","stage":"hung"}`},
		} {
			y.wants(t, http.StatusCreated, "POST", one[0], one[1])
		}
	}
	after, says := share(look(), kind)
	if after < 1.2*before || before == 0 || !strings.Contains(says, "in this yard before") || !strings.Contains(says, "mended=broken-power-wire@12") {
		t.Errorf("%s: %.3f, then %.3f: %s", kind, before, after, says)
	}
	for _, body := range []string{`{"string":"gable-left","note":"x","mended":"broken-data"}`, `{"note":"x","mended":"mended=broken-data"}`} {
		y.wants(t, http.StatusBadRequest, "POST", "/api/notes", body)
	}
}

// A plan that was read anew has another number, so that pages ask for it.
func TestReloadIsTold(t *testing.T) {
	y := newYard(t, nil)
	var before, after state
	y.do(t, "GET", "/api/state", "").json(&before)
	plan, _ := config.Demo()
	y.session.Reload(plan, budget.New(plan))
	y.do(t, "GET", "/api/state", "").json(&after)
	if before.PlanVersion == after.PlanVersion {
		t.Errorf("both plans have number %d", before.PlanVersion)
	}
}

// A programme counts the looks that people take, and puts them on record itself.
func TestProgramme(t *testing.T) {
	var notes []string
	var full error
	y := newYard(t, func(c *Config) {
		c.Says = func() string { return "12.0 h of 48.0 h served" }
		c.Looked = func(note, _ string) error { notes = append(notes, note); return full }
	})
	var st state
	y.do(t, "GET", "/api/state", "").json(&st)
	if st.Programme != "12.0 h of 48.0 h served" {
		t.Errorf("the programme says %q", st.Programme)
	}
	if got := y.do(t, "POST", "/api/looks", `{"seen":"all well"}`).Code; got != http.StatusNoContent || len(notes) != 1 || notes[0] != "all well" {
		t.Errorf("a look answers %d, %q", got, notes)
	}
	full = fmt.Errorf("record: %w", syscall.ENOSPC)
	y.wants(t, http.StatusInsufficientStorage, "POST", "/api/looks", `{"seen":"all well"}`, "disk")
}
