package web

import (
	"encoding/json"
	"errors"
	"net/http"
	"slices"
	"strings"
	"testing"
	"time"

	"yardproof/cmd/yardproof/internal/history"
	"yardproof/config"
	"yardproof/config/protection"
)

func TestShow(t *testing.T) {
	y := newYard(t, nil, "watts: 200", "watts: 40")
	y.frames(time.Second)
	var st state
	y.do(t, "POST", "/api/show?string=gable-left", `{"pattern":"ends","strings":["gable-right","gable-left"],"level_percent":20}`).json(&st)
	if s := st.Showing; s.Pattern != "ends" || !slices.Equal(s.Strings, []string{"gable-left", "gable-right"}) || s.Level != 20 || s.CappedBy != "" {
		t.Errorf("shown is %+v", s)
	}
	if st.Viewed == nil || !st.Viewed.Lit || st.Viewed.Looks == "" || len(st.Viewed.Meter) != 1 {
		t.Errorf("viewed is %+v", st.Viewed)
	}
	// Above the cap: answered, with the capped level and the reason.
	got := y.do(t, "POST", "/api/show", `{"pattern":"full-white","level_percent":100}`)
	got.json(&st)
	if s := st.Showing; got.Code != http.StatusOK || s.Level >= 100 || s.Level <= 0 || s.CappedBy == "" || s.FallsBack == nil {
		t.Errorf("%d, shown is %+v", got.Code, s)
	}
	// Named by nobody: no level that dazzles.
	y.do(t, "POST", "/api/show", `{"pattern":"number"}`).json(&st)
	if s := st.Showing; s.Level > 30 || len(s.Strings) != 13 {
		t.Errorf("shown is %+v", s)
	}
	y.do(t, "POST", "/api/dark", `{}`).json(&st)
	if st.Showing.Pattern != "dark" {
		t.Errorf("dark is %+v", st.Showing)
	}

	before := y.session.Snapshot().Shown
	for _, bad := range []string{
		`{"pattern":"strobe"}`, `{"pattern":""}`, `{}`, `{"pattern":"dark","strings":["none"]}`,
		`{"pattern":"walk","level_percent":101}`, `{"pattern":"walk","level_percent":-1}`, `{"pattern":"walk","level_percent":1e300}`,
		`{"pattern":"walk","level_percent":"30"}`, `{"pattern":"walk","strings":"gable-left"}`, `{"pattern":7}`,
		`{"pattern":"half","pixel":-1}`, `{"pattern":"one-slot","slot":-1}`, `{"pattern":"full-white","count":-1}`, `{"pattern":"block","first":-1,"last":3}`,
		`{"pattern":"half","pixel":1.5}`, `{"pattern":"full-white","hold_seconds":61}`, `{"pattern":"full-white","hold_seconds":-1}`,
		`{"pattern":"<script>alert(1)</script>"}`, `null`,
	} {
		y.wants(t, http.StatusBadRequest, "POST", "/api/show", bad)
	}
	if now := y.session.Snapshot().Shown; now.Change != before.Change {
		t.Error("a refused request changed what is shown")
	}
}

// The keys that other people's programs lean on.
func TestStateContract(t *testing.T) {
	y := newYard(t, nil)
	var got struct {
		Showing map[string]any `json:"showing"`
	}
	y.do(t, "GET", "/api/state", "").json(&got)
	for _, key := range []string{"pattern", "strings", "level_percent", "level_now_percent", "capped_by"} {
		if _, ok := got.Showing[key]; !ok {
			t.Errorf("showing has no %s", key)
		}
	}
}

func TestHealthAbsentIsNull(t *testing.T) {
	loss := 0.5
	y := newYard(t, func(c *Config) {
		c.Health = func() []history.Sample {
			return []history.Sample{{RateHz: 40, WantedHz: 40}, {RateHz: 39, WantedHz: 40, LostPercent: &loss}}
		}
		c.Ready = func() error { return errors.New("no frame has gone out yet") }
	})
	var got struct{ Health map[string]any }
	y.do(t, "GET", "/api/state", "").json(&got)
	if got.Health["rate_hz"] != 39.0 || got.Health["lost_percent"] != 0.5 || got.Health["conflicts"] != nil {
		t.Errorf("health is %v", got.Health)
	}
	var all struct{ Samples []map[string]any }
	y.do(t, "GET", "/api/health", "").json(&all)
	if len(all.Samples) != 2 {
		t.Errorf("samples are %v", all.Samples)
	}
	y.wants(t, http.StatusServiceUnavailable, "GET", "/readyz", "")
}

func TestPlan(t *testing.T) {
	y := newYard(t, nil)
	var got struct {
		Name     string
		Strings  []map[string]any
		Patterns []map[string]any
	}
	y.do(t, "GET", "/api/plan", "").json(&got)
	if len(got.Strings) != 13 || len(got.Patterns) < 12 || got.Strings[12]["order"] != "GRBW" {
		t.Errorf("the plan is %+v", got)
	}
}

// Whoever stands before a string is told what a short on it does, and no word more.
func TestPlanSaysFaults(t *testing.T) {
	for _, known := range []bool{true, false} {
		y := newYard(t, func(cfg *Config) {
			cfg.Protection = func(p *config.Plan) *protection.Report {
				if !known { // it was another plan
					return nil
				}
				return &protection.Report{Findings: []protection.Finding{
					{String: "gable-left", Brief: "The 5 A fuse at start does not see a short beyond pixel 40."}, {Place: "mains circuit hut", Brief: "Too much."}}}
			}
		})
		body := y.do(t, "GET", "/api/plan", "").Body.String()
		for _, want := range []string{`"faults":["The 5 A fuse at start does not see a short beyond pixel 40."]`, `"faults":["Too much."]`} {
			if strings.Contains(body, want) != known {
				t.Errorf("known %v: %s in %s", known, want, body)
			}
		}
		if n := strings.Count(body, `"faults"`); known && n != 2 {
			t.Errorf("faults are said %d times", n)
		}
	}
}

// What the meter should read agrees with the plan by hand: gable-left has 50
// pixels at 55 mA on one feed, so full white draws 2.75 A. Of the 150 slots ends
// lights one in each end pixel and eighteen in the six whites, all at 255, and one at
// 42 in each of the 42 others.
func TestMeterIsTold(t *testing.T) {
	y := newYard(t, nil)
	y.frames(time.Second)
	var st state
	y.do(t, "POST", "/api/show?string=gable-left", `{"pattern":"full-white","strings":["gable-left"],"level_percent":40}`).json(&st)
	idle := st.Viewed.Meter[0].Dark
	want := hundredth(idle + (2.75-idle)*0.4)
	if got := st.Viewed.Meter[0].Lit; got < want-0.011 || got > want+0.011 {
		t.Errorf("the meter should read %v, by hand %v", got, want)
	}
	y.do(t, "POST", "/api/show?string=gable-left", `{"pattern":"full-white","strings":["gable-left"],"level_percent":100,"count":10}`).json(&st)
	if got, want := st.Viewed.Meter[0].Lit, hundredth(idle+(2.75-idle)*10/50); got < want-0.011 || got > want+0.011 {
		t.Errorf("for ten pixels the meter should read %v, by hand %v", got, want)
	}
	y.do(t, "POST", "/api/show?string=gable-left", `{"pattern":"ends","strings":["gable-left"],"level_percent":100}`).json(&st)
	if got, want := st.Viewed.Meter[0].Lit, hundredth(idle+(2.75-idle)*(20*255+42*42)/(150*255)); got < want-0.011 || got > want+0.011 {
		t.Errorf("for ends the meter should read %v, by hand %v", got, want)
	}
	y.do(t, "POST", "/api/dark?string=gable-left", `{}`).json(&st)
	if m := st.Viewed.Meter[0]; m.Lit != m.Dark {
		t.Errorf("dark, the meter should read %+v", m)
	}
}

func TestAppearance(t *testing.T) {
	y := newYard(t, nil)
	for _, test := range []struct{ string, show, want string }{
		{"gable-left", `"pattern":"number"`, "Blinks 6 white, a pause, and again."},
		{"lighthouse-turn-2", `"pattern":"number"`, "Blinks 1 blue, then one long white, a pause, and again."},
		{"gable-ridge", `"pattern":"one-slot"`, "All green, then all red, then all blue, two seconds each."},
		{"gable-ridge", `"pattern":"one-slot","slot":2`, "All red."},
		{"lighthouse-lantern", `"pattern":"colour-order"`, "2 green, 3 red, 4 blue, 5 white, one dark between, five dark after, and again."},
		{"gable-left", `"pattern":"ends"`, "First pixel green and pixel 50, the last, red; three whites next to each; all others glow faint blue."},
		{"gable-left", `"pattern":"ruler"`, "All faint blue, with white marks: 1 pixel at each 5, 2 at 10, 3 at 50, 4 at 100. The last pixel of a mark is the number."},
		{"gable-left", `"pattern":"half","pixel":12`, "White at pixel 12, blue below it, amber above."},
		{"gable-left", `"pattern":"half"`, "White at pixel 25, blue below it, amber above."},
		{"gable-left", `"pattern":"dark"`, "Dark, every pixel."},
	} {
		var st state
		y.do(t, "POST", "/api/show?string="+test.string, "{"+test.show+"}").json(&st)
		if got := st.Viewed.Looks; got != test.want {
			t.Errorf("%s on %s looks like %q", test.show, test.string, got)
		}
	}
	y.wants(t, http.StatusBadRequest, "POST", "/api/show", `{"pattern":"one-slot","slot":9}`)
	// Not among the lit: dark, whatever the others show.
	var st state
	y.do(t, "POST", "/api/show?string=gable-left", `{"pattern":"ends","strings":["gable-right"]}`).json(&st)
	if st.Viewed.Looks != "Dark, every pixel." || st.Viewed.Lit {
		t.Errorf("a string that is not lit is told as %+v", st.Viewed)
	}
	y.do(t, "GET", "/api/state?string=none", "").json(&st)
	if st.Viewed != nil {
		t.Errorf("no such string is told as %+v", st.Viewed)
	}
}

func FuzzShow(f *testing.F) {
	for _, s := range []string{`{"pattern":"walk"}`, `{"pattern":"half","pixel":-1,"slot":99,"count":1000000000}`, `[`, `{"level_percent":1e999}`} {
		f.Add(s)
	}
	y := newYard(f, nil)
	f.Fuzz(func(t *testing.T, body string) {
		defer mustEnd(body)()
		got := y.do(t, "POST", "/api/show", body)
		if got.Code == http.StatusInternalServerError {
			t.Errorf("%q answers %d", body, got.Code)
		}
		if got.Code == http.StatusOK && !json.Valid(got.Body.Bytes()) {
			t.Errorf("%q answers no JSON", body)
		}
		y.frames(25 * time.Millisecond)
	})
}
