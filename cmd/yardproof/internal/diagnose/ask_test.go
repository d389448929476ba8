package diagnose

import (
	"encoding/json"
	"errors"
	"strings"
	"testing"

	"yardproof/config/budget"
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
		{`{"last_lit":12}`, "dark from 13 on"},
		{`{"half":{"good":0,"dark":121},"string":"quay-rail-west"}`, `"next_pixel":60`},
		{`{"amps":1.2,"string":"gable-left","dark_amps":0.1,"meter":"3% + 0.1 A"}`, "short by"},
		{`{"amps":0.7,"string":"gable-left","count":12}`, "alike"}, // 12 pixels of 55 mA and 38 idle
		{`{"volts":[{"pixel":0,"volts":12.1},{"pixel":50,"volts":10}],"string":"gable-left"}`, "extra are lost"},
		{`{"dark":["quay-rail-west","quay-rail-east"]}`, "supply boathouse-a"},
		{`{"answered":{"gable-left":"gable-right"}}`, "Swapped: gable-right hangs where"},
		{`{"batch":true}`, "No good proof"},
	} {
		var q Question
		if err := json.Unmarshal([]byte(tt.question), &q); err != nil {
			t.Fatalf("%s: %v", tt.question, err)
		}
		out, err := y.Ask(q)
		text, _ := json.Marshal(out)
		if err != nil || !strings.Contains(string(text), tt.says) {
			t.Errorf("%s: %q is not in %s, %v", tt.question, tt.says, text, err)
		}
	}
	for _, bad := range []string{
		`{"seen":"GRB","runs":"RR"}`, `{"symptom":"99"}`, `{"symptom":"zebra"}`, `{"string":"gable"}`, `{"seen":"G"}`, `{"last_lit":-1}`, `{"last_lit":99999999999}`,
		`{"last_lit":51,"string":"gable-left"}`, `{"amps":1}`, `{"amps":1,"string":"gable-left","feed":"end"}`, `{"amps":1,"string":"gable-left","level_percent":-5}`,
		`{"volts":[{"pixel":1,"volts":1}]}`, `{"half":{"good":9,"dark":2}}`, `{"dark":["x"]}`, `{"tail":"wet","last_lit":3}`, `{"amps":1,"expected":2,"meter":"x"}`,
	} {
		var q Question
		if err := json.Unmarshal([]byte(bad), &q); err != nil {
			t.Fatalf("%s: %v", bad, err)
		}
		_, err := y.Ask(q)
		var input *InputError
		if !errors.As(err, &input) {
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
	if out, err := (Yard{Plan: p}).Ask(Question{Amps: dark(1), Expected: 1, String: "gable-left"}); err != nil || out.Answer.Wrong {
		t.Errorf("an expected current beside a plan with errors: %+v, %v", out.Answer, err)
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
