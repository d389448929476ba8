package diagnose

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/light"
	"yardproof/config"
	"yardproof/config/budget"
	"yardproof/patterns"
	"yardproof/sacn/sacntest"
)

func TestAsk(t *testing.T) {
	p := demo(t)
	y := Yard{Plan: p, Budget: budget.New(p)}
	for _, tt := range []struct{ question, says string }{
		{`{}`, "Everything stutters"},
		{`{"symptom":"candy"}`, "Candy"},
		{`{"seen":"GRB","string":"gable-ridge"}`, "the order is right"},
		{`{"seen":"RGB","string":"gable-ridge","port_set":"rgb"}`, "order: RGB"},
		{`{"runs":".RR.GGG.BBBB","string":"bandstand-rail"}`, "the order is right"},
		{`{"last_lit":60,"string":"quay-rail-west","tail":"dark"}`, "jumper"},
		{`{"last_lit":12}`, "dark from pixel 13 on"},
		{`{"half":{"good":0,"dark":121},"string":"quay-rail-west"}`, `"next_pixel":60`},
		{`{"amps":1.2,"string":"gable-left","dark_amps":0.1,"meter":"3% + 0.1 A"}`, "too low by"},
		{`{"amps":0.7,"string":"gable-left","count":12}`, "alike"}, // 12 pixels of 55 mA and 38 idle
		{`{"volts":[{"pixel":0,"volts":12.1},{"pixel":50,"volts":10}],"string":"gable-left"}`, "more than expected are lost"},
		{`{"dark":["quay-rail-west","quay-rail-east"]}`, "supply boathouse-a"},
		{`{"answered":{"gable-left":"gable-right"}}`, "Swapped: gable-right hangs where"},
		{`{"batch":true}`, "No good proof"},
		{`{"scan":[],"string":"gable-left"}`, "Show dark."},
		{`{"scan":[{"value":12},{"first":1,"last":25,"value":11.9}],"string":"gable-left"}`, "2 readings so far"},
	} {
		var q Question
		sacntest.JSON(t, tt.question, &q)
		out, err := y.Ask(q)
		text, _ := json.Marshal(out)
		if err != nil || !strings.Contains(string(text), tt.says) {
			t.Errorf("%s: %q is not in %s, %v", tt.question, tt.says, text, err)
		}
	}
	for _, bad := range []string{
		`{"tail":"dark"}`, `{"string":"gable-left"}`, `{"meter":"3%"}`,
		`{"seen":"GRB","runs":"RR"}`, `{"symptom":"99"}`, `{"symptom":"zebra"}`, `{"string":"gable"}`, `{"seen":"G"}`, `{"last_lit":-1}`, `{"last_lit":99999999999}`,
		`{"last_lit":51,"string":"gable-left"}`, `{"amps":1}`, `{"amps":1,"string":"gable-left","feed":"end"}`, `{"amps":1,"string":"gable-left","level_percent":-5}`,
		`{"volts":[{"pixel":1,"volts":1}]}`, `{"half":{"good":9,"dark":2}}`, `{"dark":["x"]}`, `{"tail":"wet","last_lit":3}`, `{"scan":[]}`,
		`{"scan":[{"first":3,"last":2,"value":12}],"string":"gable-left"}`, `{"scan":[{"first":1,"last":51,"value":12}],"string":"gable-left"}`, `{"scan":[{"value":1e9}],"string":"gable-left"}`, `{"amps":1,"expected":2,"meter":"x"}`,
	} {
		var q Question
		sacntest.JSON(t, bad, &q)
		_, err := y.Ask(q)
		if _, ok := errors.AsType[*InputError](err); !ok {
			t.Errorf("%s: %v", bad, err)
		}
	}
	for _, q := range []Question{{Dark: []string{"a"}}, {Answered: map[string]string{"a": "b"}}, {Batch: true}, {String: "a"}, {Volts: []budget.Point{{Pixel: 1, Volts: 1}}}} {
		var input *InputError
		if _, err := (Yard{}).Ask(q); !errors.As(err, &input) {
			t.Errorf("%+v without a plan: %v", q, err)
		}
	}
	if _, err := (Yard{Plan: p}).Ask(Question{Batch: true}); err == nil {
		t.Error("a plan with errors has batches")
	}
	if out, err := (Yard{Plan: p}).Ask(Question{Amps: new(1.0), Expected: 1, String: "gable-left"}); err != nil || out.Answer.Wrong {
		t.Errorf("an expected current beside a plan with errors: %+v, %v", out.Answer, err)
	}
}

// The plan's meter counts, and the question's own counts more: 20 % + 3 A is 3.16 A at
// 0.8 A, 3 % + 0.10 A is 0.124 A, and 0.3 A are missing.
func TestPlanMeter(t *testing.T) {
	for _, tt := range []struct {
		plan, asked string
		wrong       bool
	}{
		{"", "", true}, {`meter: "20% + 3 A"`, "", false}, {`meter: "20% + 3 A"`, "3% + 0.10 A", true}, {"meter: 1%", "20% + 3 A", false},
	} {
		p, problems := config.Load("p", strings.NewReader(tt.plan+"\nstrings: [{name: gable, universe: 1, pixels: 20, amps_per_pixel: 55 mA, idle_amps_per_pixel: 0, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}}]"))
		if len(problems) > 0 {
			t.Fatal(problems)
		}
		for _, q := range []Question{{Amps: new(0.8), Expected: 1.10, Meter: tt.asked}, {Amps: new(0.8), Expected: 1.10, Meter: tt.asked, String: "gable"}} {
			out, err := Yard{Plan: p, Budget: budget.New(p)}.Ask(q)
			if err != nil || out.Answer.Wrong != tt.wrong {
				t.Errorf("%+v: %+v, %v", tt, out.Answer, err)
			}
		}
	}
}

// A feed that is far too low while its string has another: a bad contact comes first, and the
// other feed when it is the one that would read so.
func TestLowFeed(t *testing.T) {
	p := demo(t)
	y := Yard{Plan: p, Budget: budget.New(p)}
	white, _ := light.Expected(y.Budget, p.Find("quay-rail-west"), light.Lit{Pattern: patterns.FullWhite, Level: 1}, 0)
	start, end := white.Feeds[0], white.Feeds[1]
	if start-end < 0.5 {
		t.Fatalf("the feeds carry %.2f and %.2f A: too alike for this test", start, end)
	}
	for _, tt := range []struct {
		amps  float64
		feed  string
		first string
		also  bool // the other feed may have been read
	}{
		{0.5 * start, "start", "a bad contact at this feed", false},
		{0.3 * start, "start", "one or two colours do not light (it reads about one or two thirds); a bad contact at this feed", false},
		{end, "start", "the feed at end was read instead", true},
		{0.9 * end, "end", "dark pixels", false},
	} {
		out, err := y.Ask(Question{Amps: &tt.amps, Feed: tt.feed, String: "quay-rail-west"})
		causes := strings.Join(out.Answer.Causes, "; ")
		if err != nil || !strings.HasPrefix(causes, tt.first) || strings.Contains(causes, "was read instead") != tt.also {
			t.Errorf("%+v: %s, %v", tt, causes, err)
		}
	}
}

// Whatever the page sends: an answer or a sentence, and JSON out of it.
func FuzzAsk(f *testing.F) {
	for _, s := range []string{`{"seen":"GRB"}`, `{"half":{"good":1,"dark":9}}`, `{"amps":1,"string":"gable-left","count":3}`,
		`{"volts":[{"pixel":0,"volts":12},{"pixel":3,"volts":11}],"string":"gable-left"}`, `{"dark":["quay-rail-west"]}`, `{"last_lit":3,"tail":"dark"}`} {
		f.Add(s)
	}
	p := demo(f)
	b := budget.New(p)
	f.Fuzz(func(t *testing.T, text string) {
		var q Question
		if json.Unmarshal([]byte(text), &q) != nil {
			return
		}
		for _, y := range []Yard{{Plan: p, Budget: b}, {Plan: p}, {}} {
			out, err := y.Ask(q)
			var input *InputError
			if err != nil && !errors.As(err, &input) {
				t.Fatalf("%s: %v", text, err)
			}
			if err != nil {
				continue
			}
			if _, err := json.Marshal(out); err != nil {
				t.Fatalf("%s: %v", text, err)
			}
			if out.Answer != nil && out.Answer.Finding == "" {
				t.Fatalf("%s: no finding", text)
			}
		}
	})
}
