package web

import (
	"fmt"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
)

// proofsPage is an answer of GET /api/proofs.
type proofsPage struct {
	After         int
	RecordVersion int `json:"record_version"`
	More          bool
	Strings       []struct{ Name, Label string }
	Controllers   []struct{ Name, Seen string }
	Proofs        []record.Line
}

func (y *yard) proofsAfter(t *testing.T, version int) (p proofsPage, octets int) {
	t.Helper()
	r := y.do(t, "GET", fmt.Sprintf("/api/proofs?after=%d", version), "")
	octets = r.Body.Len()
	r.json(&p)
	return p, octets
}

// However much is recorded, an answer is bounded, and going on from answer to answer
// tells every string once.
func TestProofsByTheAnswer(t *testing.T) {
	y := newYard(t, nil)
	strs := y.session.Snapshot().Plan.Strings
	const times = 2
	var most int
	for range times {
		for _, s := range strs {
			for _, stage := range record.Stages() {
				l := record.Line{Kind: record.Proof, String: s.Name, Label: s.Label, Stage: stage, Verdict: record.Good, Note: strings.Repeat("wet ", 1000)}
				for range 100 {
					l.Readings = append(l.Readings, record.Reading{Feed: strings.Repeat("f", 150), Quantity: "amps", Value: 1.25, While: "white"})
				}
				if _, err := y.cfg.Record.Append(l); err != nil {
					t.Fatal(err)
				}
			}
		}
	}
	told, answers := map[string]int{}, 0
	for version, more := 0, true; more; answers++ {
		p, octets := y.proofsAfter(t, version)
		if p.After != version || p.RecordVersion <= version {
			t.Fatalf("after %d it tells what came after %d, up to %d", version, p.After, p.RecordVersion)
		}
		most = max(most, octets)
		for _, l := range p.Proofs {
			told[l.String+" "+string(l.Stage)]++
		}
		version, more = p.RecordVersion, p.More
	}
	if one := most - maxPage; answers < 2 || one > 80<<10 { // what goes over is one string's three proofs
		t.Errorf("%d answers, the longest of %d octets", answers, most)
	}
	for _, s := range strs {
		for _, stage := range record.Stages() {
			if n := told[s.Name+" "+string(stage)]; n != 1 {
				t.Errorf("%s %s was told %d times", s.Name, stage, n)
			}
		}
	}
	if p, octets := y.proofsAfter(t, y.cfg.Record.Len()); len(p.Strings) != 0 || p.More || octets > 200 {
		t.Errorf("with nothing new: %d octets, %+v", octets, p)
	}
}

// Whoever knows the rest is told only what has changed, a string that is unproved again
// and a look at a controller too.
func TestProofsAfter(t *testing.T) {
	y := newYard(t, nil)
	for _, name := range []string{"gable-left", "gable-right"} {
		y.do(t, "POST", "/api/proofs", `{"string":"`+name+`","verdict":"good","stage":"hung"}`)
	}
	version := 2
	next := func(path, body string) proofsPage {
		y.do(t, "POST", path, body)
		p, _ := y.proofsAfter(t, version)
		version++
		if p.RecordVersion != version || p.More {
			t.Errorf("%s leads to version %d, want %d", body, p.RecordVersion, version)
		}
		return p
	}
	if p := next("/api/proofs", `{"string":"gable-right","verdict":"fault","stage":"opening"}`); len(p.Strings) != 1 || len(p.Proofs) != 2 || p.Proofs[1].Verdict != record.Fault || len(p.Controllers) != 0 {
		t.Errorf("a proof: %+v", p)
	}
	if p := next("/api/replacements", `{"string":"gable-left","label":"S7"}`); len(p.Strings) != 1 || p.Strings[0].Label != "S7" || len(p.Proofs) != 0 {
		t.Errorf("a spare: %+v", p)
	}
	if p := next("/api/looks", `{"controller":"boathouse","seen":"holds"}`); len(p.Strings) != 0 || len(p.Controllers) != 1 || p.Controllers[0].Seen != "holds" {
		t.Errorf("a look: %+v", p)
	}
	if p := next("/api/notes", `{"string":"gable-left","note":"marked"}`); len(p.Strings) != 0 || len(p.Controllers) != 0 {
		t.Errorf("a note: %+v", p)
	}
	if p, _ := y.proofsAfter(t, 1000); p.After != 0 || len(p.Strings) != 2 {
		t.Errorf("a version of another record: %+v", p)
	}
	for _, after := range []string{"-1", "x", "1.5", "99999999999999999999"} {
		if r := y.do(t, "GET", "/api/proofs?after="+after, ""); r.Code != 400 {
			t.Errorf("after %s: %d", after, r.Code)
		}
	}
}
