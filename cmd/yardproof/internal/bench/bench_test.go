package bench

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/config"
)

func lines(amps ...float64) []record.Line {
	var all []record.Line
	for i, a := range amps {
		l := record.Line{Kind: record.Proof, Plan: "lot 7", Label: fmt.Sprintf("B%03d", i+1), Stage: record.Bench, Verdict: record.Good}
		if a > 0 {
			l.Readings = []record.Reading{{Quantity: "amps", While: "white", Value: a}}
		}
		all = append(all, l)
	}
	return all
}

// The example of NIST/SEMATECH's section is not at hand, so the limits are worked out
// here by hand: of 2.0 2.1 2.2 2.3 2.4 3.4 the median is 2.25, the distances are 0.25
// 0.15 0.05 0.05 0.15 1.15, their median 0.15; 3.5 x 0.15 / 0.6745 = 0.7784.
func TestBatch(t *testing.T) {
	for _, tt := range []struct {
		name      string
		amps      []float64
		median    float64
		low, high float64
		apart     string
	}{
		{"none", nil, 0, 0, 0, ""},
		{"not read", []float64{0, 0}, 0, 0, 0, ""},
		{"too few to say, however far apart", []float64{2, 2, 2, 9}, 2, 0, 0, ""},
		{"by hand", []float64{2.0, 2.1, 2.2, 2.3, 2.4, 3.4}, 2.25, 1.4716, 3.0284, "B006"},
		{"alike to the last digit: the meter's zero still wanders", []float64{2.7, 2.7, 2.7, 2.7, 2.79, 2.55}, 2.7, 2.6, 2.8, "B006"},
		{"a dud among many moves nothing", []float64{2.70, 2.71, 2.69, 2.72, 2.68, 2.70, 0.4}, 2.70, 2.60, 2.80, "B007"},
		{"an unread one between", []float64{2.7, 0, 2.7, 2.7, 2.7, 2.7, 1.9}, 2.7, 2.6, 2.8, "B007"},
	} {
		b := New("lot 7", "B001", append(lines(tt.amps...), record.Line{Plan: "lot 6", Label: "Z1", Verdict: record.Good}), config.DefaultMeter)
		var apart []string
		for _, s := range b.Strings {
			if s.Apart {
				apart = append(apart, s.Tag)
			}
		}
		if math.Abs(b.Median-tt.median) > 1e-9 || math.Abs(b.Low-tt.low) > 1e-4 || math.Abs(b.High-tt.high) > 1e-4 || strings.Join(apart, " ") != tt.apart {
			t.Errorf("%s: median %v, %v to %v, apart %q", tt.name, b.Median, b.Low, b.High, apart)
		}
		if len(b.Strings) != len(tt.amps) {
			t.Errorf("%s: %d strings: another batch is in it", tt.name, len(b.Strings))
		}
	}
}

// What a string at fault drew is judged, and judges nobody.
func TestFaultJudgesNobody(t *testing.T) {
	all := lines(2.7, 2.7, 2.7, 2.7, 0.3, 0.3, 0.3, 0.3, 0.3)
	for i := 4; i < 9; i++ {
		all[i].Verdict = record.Fault
	}
	b := New("lot 7", "", all, config.DefaultMeter)
	if b.Median != 2.7 || b.Read != 4 || b.High != 0 || b.Fault != 5 || !strings.Contains(b.Says, "5 are needed") {
		t.Errorf("%+v", b)
	}
}

func TestAfter(t *testing.T) {
	for tag, want := range map[string]string{"B001": "B002", "B099": "B100", "7": "8", "spare": "spare2", "A-9": "A-10", "x99999999999": "x999999999992", "": "2"} {
		if got := after(tag); got != want {
			t.Errorf("after %q comes %q, want %q", tag, got, want)
		}
	}
}

// A string that was on the bench once more has a tag of the middle: the next tag is one
// that no string has.
func TestNextTagIsFree(t *testing.T) {
	once := lines(2.7, 2.7, 2.7, 2.7)
	again := append(once[:1:1], once[2:]...) // B001, B003, B004, and B002 later
	again = append(again, record.Line{Plan: "lot 7", Label: "b002", Verdict: record.Good})
	if got := New("lot 7", "B001", again, config.DefaultMeter).Next; got != "B005" && got != "b005" {
		t.Errorf("after the second string once more, the next tag is %s", got)
	}
}
