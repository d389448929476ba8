package burnin

import (
	"encoding/binary"
	"fmt"
	"testing"
	"testing/synctest"
	"time"
)

// zone is a place whose clocks are changed at a moment, by an hour, as RFC 8536 clause 3
// writes it in its first version.
func zone(t *testing.T, at time.Time, before, after time.Duration) *time.Location {
	t.Helper()
	b := append([]byte("TZif"), make([]byte, 16)...)
	for _, n := range []uint32{0, 0, 0, 1, 2, 8} { // no indicators, no leap seconds; one transition, two types, their names
		b = binary.BigEndian.AppendUint32(b, n)
	}
	b = binary.BigEndian.AppendUint32(b, uint32(at.Unix()))
	b = append(b, 1) // the type from then on
	for i, offset := range []time.Duration{before, after} {
		b = binary.BigEndian.AppendUint32(b, uint32(int32(offset.Seconds())))
		b = append(b, byte(i), byte(4*i))
	}
	place, err := time.LoadLocationFromTZData("Quay", append(b, "ONE\x00TWO\x00"...))
	if err != nil {
		t.Fatal(err)
	}
	return place
}

// The part of the day is by the clock on the wall, in the night in which that is changed
// too: 02:30 to 05:00 is an hour shorter in spring and an hour longer in autumn. Outside
// it is dark, and what is served is what was lit.
func TestSummerTime(t *testing.T) {
	local := time.Local
	defer func() { time.Local = local }()
	for _, c := range []struct {
		what          string
		before, after time.Duration
		lit           map[string]bool // by UTC
		served        time.Duration
	}{
		{"forward at 03:00", 0, time.Hour, map[string]bool{"02:20": false, "02:40": true, "03:10": true, "03:50": true, "04:10": false}, 90 * time.Minute},
		{"back at 04:00", time.Hour, 0, map[string]bool{"01:20": false, "01:40": true, "03:10": true, "04:50": true, "05:10": false}, 210 * time.Minute},
	} {
		synctest.Test(t, func(t *testing.T) {
			midnight := time.Now().UTC()
			time.Local = zone(t, midnight.Add(3*time.Hour), c.before, c.after)
			y := newYard(t, fmt.Sprintf("%s  hours: 24\n  between: 02:30-05:00\n  programme: [{pattern: walk, minutes: 10}]\n", street))
			y.start(nil)
			defer y.end()
			for minute := 10; minute < 360; minute += 10 {
				pass(10 * time.Minute)
				at := time.Now().UTC().Format("15:04")
				shown := y.session.Snapshot().Shown.Pattern.Name
				if lit, known := c.lit[at]; known && lit != (shown == "walk") {
					t.Errorf("%s: at %s, %s by the clock on the wall, it shows %s", c.what, at, time.Now().Local().Format("15:04"), shown)
				}
			}
			if r := y.b.Report(); r.Least < c.served-time.Minute || r.Least > c.served+time.Minute {
				t.Errorf("%s: %v served, want %v", c.what, r.Least, c.served)
			}
		})
	}
}
