package diagnose

import (
	"strings"
	"testing"

	"yardproof/config"
	"yardproof/config/budget"
)

// What is typed is read, with a comma and a unit too; what is no number is asked for
// again; and Enter alone ends it.
func TestAskReadings(t *testing.T) {
	plan, _ := config.Demo()
	y := Yard{Plan: plan, Budget: budget.New(plan)}
	readings, err := ParseReadings(nil)
	if err != nil {
		t.Fatal(err)
	}
	var talk strings.Builder
	out, err := y.AskReadings(Question{Scan: readings, String: "gable-left"}, strings.NewReader("loud\n11,98 V\n11.84\n\n"), &talk)
	if err != nil || len(out.Scan.Readings) != 2 || out.Scan.Readings[0].Value != 11.98 || out.Scan.Readings[1].First != 1 {
		t.Errorf("%+v, %v", out.Scan, err)
	}
	for _, want := range []string{"Show dark.", "Press Enter alone to stop.\n", `"loud" is not a number`, "volts: "} {
		if !strings.Contains(talk.String(), want) {
			t.Errorf("%q is not in what it asks:\n%s", want, talk.String())
		}
	}
}
