package web

import (
	"net/http"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/session"
	"yardproof/config"
	"yardproof/patterns"
)

// Every text that speaks of an end says which one it means when the flow is backward.
func TestBackwardFlowIsTold(t *testing.T) {
	for _, name := range []string{"colour-order", "ends", "walk", "ruler", "half"} {
		p, ok := patterns.Lookup(name)
		if !ok {
			t.Fatal(name)
		}
		show := session.Shown{Pattern: p}
		looks, watch := describe(&config.String{Pixels: 50, Order: "RGB", Flow: config.Backward}, show)
		if text := strings.ToLower(looks + watch); !strings.Contains(text, "flow is backward") || strings.Contains(text, "the data end") {
			t.Errorf("%s, backward: %s %s", name, looks, watch)
		}
		if looks, watch := describe(&config.String{Pixels: 50, Order: "RGB", Flow: config.Forward}, show); strings.Contains(looks+watch, "backward") {
			t.Errorf("%s, forward: %s %s", name, looks, watch)
		}
	}
}

// A tag is one physical string: one that hangs in the yard is refused, with where,
// also when it came there as a spare.
func TestTagHangsOnce(t *testing.T) {
	y := newYard(t, nil)
	replace := func(name, label string) (int, string) {
		got := y.do(t, "POST", "/api/replacements", `{"string":"`+name+`","label":"`+label+`","stage":"hung"}`)
		return got.Code, got.Body.String()
	}
	if code, body := replace("gable-left", "S7"); code != http.StatusCreated {
		t.Fatal(code, body)
	}
	for _, label := range []string{"S7", "s7 ", "A2"} {
		if code, body := replace("gable-right", label); code != http.StatusConflict || !strings.Contains(body, "hangs as string") {
			t.Errorf("tag %q again answers %d %s", label, code, body)
		}
	}
	var plan struct {
		Strings []struct{ Name, Label, Flow string }
	}
	y.do(t, "GET", "/api/plan", "").json(&plan)
	for _, s := range plan.Strings {
		if s.Name == "gable-left" && (s.Label != "S7" || s.Flow != "forward") {
			t.Errorf("the plan tells %+v", s)
		}
	}
}
