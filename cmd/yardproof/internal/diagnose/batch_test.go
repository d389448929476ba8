package diagnose

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
	"yardproof/config/budget"
)

func TestBatches(t *testing.T) {
	var plan strings.Builder
	plan.WriteString("supplies: [{name: a, volts: 12, watts: 350}]\nstrings:\n")
	for i := range 5 {
		fmt.Fprintf(&plan, "  - {name: s%d, universe: %d, channel: 1, pixels: 50, chip: ws2811, amps_per_pixel: 0.055, supply: a, fuse_amps: 5, pitch: {awg: 18, millimetres: 100}}\n", i+1, i+1)
	}
	p, problems := config.Load("batch.yaml", strings.NewReader(plan.String()))
	for _, pr := range problems {
		if pr.Severity == config.Error {
			t.Fatal(pr)
		}
	}
	b := budget.New(p)
	// Fifty pixels of what is really 44 mA; the expectation was 55 mA each.
	proof := func(name string, v record.Verdict, lit float64) record.Line {
		dark, white := 0.05, 0.05+2.70
		return record.Line{Kind: record.Proof, String: name, Verdict: v, Readings: []record.Reading{
			{Feed: "start", Quantity: "amps", While: "dark", Value: 0.12, Expected: &dark}, // the clamp is off by 0.07 A
			{Feed: "start", Quantity: "amps", While: "white", Value: 0.12 + lit*0.0432, Expected: &white},
		}}
	}
	lines := []record.Line{
		proof("s1", record.Good, 50), proof("s2", record.Good, 49), proof("s3", record.Good, 50), proof("s4", record.Good, 40),
		proof("s5", record.Fault, 10), // a fault teaches nothing
	}
	all := batches(p, b, lines, config.Meter{Share: 0.03, Fixed: 0.05})
	if len(all) != 1 || len(all[0].Sisters) != 4 {
		t.Fatalf("%+v", all)
	}
	if got := all[0].Amps; math.Abs(got-0.055*0.8*49.5/50) > 1e-4 {
		t.Errorf("the batch draws %v A a pixel", got)
	}
	for _, s := range all[0].Sisters {
		if s.Stands != (s.Name == "s4") {
			t.Errorf("%+v", s)
		}
	}
	a := batchAnswer(all)
	all4 := a.Finding + strings.Join(append(a.Next, a.PlanLines...), " ")
	for _, want := range []string{"s4 draws about 9 pixels (give or take 3) less than its sisters", "amps_per_pixel: 0.0436", "1 stands apart"} {
		if !strings.Contains(all4, want) {
			t.Errorf("%q is not in: %s", want, all4)
		}
	}
	// Another string hangs there now: what was read of the first is not its own.
	lines = append(lines, record.Line{Kind: record.Replaced, String: "s4"})
	if all = batches(p, b, lines, config.Meter{Share: 0.03, Fixed: 0.05}); len(all[0].Sisters) != 3 {
		t.Errorf("%+v", all)
	}
	if a := batchAnswer(nil); a.Wrong || len(a.Next) == 0 {
		t.Errorf("nothing read: %+v", a)
	}
}
