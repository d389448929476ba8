package web

import (
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/bench"
	"yardproof/cmd/yardproof/internal/record"
)

// On the bench a proof is a tag's, in no place of the plan; a tag that is on record is
// taken only when it is meant, and goes with the string to where it is hung.
func TestBench(t *testing.T) {
	y := newYard(t, func(c *Config) { c.Bench = &Bench{FirstTag: "A1"} })
	body := func(tag, more string) string {
		return `{"string":"gable-left","stage":"hung","verdict":"good","tag":"` + tag + `"` + more + `}`
	}
	for _, c := range []struct {
		body string
		code int
		says string
	}{
		{body(" ", ""), 400, "Type the tag"},
		{body("C1", `,"readings":[{"quantity":"amps","feed":"start","while":"white","value":2.7}]`), 201, `"stage":"bench"`},
		{body("c1", ""), 409, "Tag C1 is on record: good"},
		{body("c1", `,"again":true`), 201, `"label":"C1"`},
	} {
		if r := y.do(t, "POST", "/api/proofs", c.body); r.Code != c.code || !strings.Contains(r.Body.String(), c.says) {
			t.Errorf("%s: %d %s", c.body, r.Code, r.Body)
		}
	}
	var b bench.Batch
	y.do(t, "GET", "/api/bench", "").json(&b)
	if len(b.Strings) != 1 || b.Strings[0].Tag != "C1" || b.Next != "C2" || b.Good != 1 || b.Read != 0 { // the later proof had no reading
		t.Errorf("%+v", b)
	}

	hung := newYard(t, func(c *Config) { c.Record = y.cfg.Record }) // the plan's gable-left has the tag C1
	var got struct{ Proofs []record.Line }
	hung.do(t, "GET", "/api/proofs", "").json(&got)
	if len(got.Proofs) != 1 || got.Proofs[0].String != "gable-left" || got.Proofs[0].Stage != record.Bench {
		t.Errorf("in the plan: %+v", got.Proofs)
	}
	if r := hung.do(t, "GET", "/api/bench", ""); r.Code != 404 {
		t.Errorf("without a bench: %d", r.Code)
	}
	if r := hung.do(t, "POST", "/api/proofs", body("C1", "")); r.Code != 400 {
		t.Errorf("a tag where there is no bench: %d", r.Code)
	}
}
