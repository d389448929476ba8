package history

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
	"testing/synctest"
	"time"

	"yardproof/sacn/source"
)

func TestRatesAreDifferences(t *testing.T) {
	h := New()
	at := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	r := Reading{Time: at, WantedHz: 40, Expected: new(uint64(1000)), Lost: new(uint64(10))}
	h.Add(r)
	r.Time, r.Frames, r.Expected, r.Lost = at.Add(2*time.Second), 60, new(uint64(1200)), new(uint64(13))
	h.Add(r)
	s := h.Recent()[0]
	if s.RateHz != 30 || *s.LostPercent != 1.5 {
		t.Errorf("rate %v, lost %v %%, want 30 and 1.5", s.RateHz, *s.LostPercent)
	}
	if s.LateMS != nil || s.Answering != nil || s.Conflicts != nil {
		t.Errorf("%+v: what was not observed must be unknown", s)
	}
	r.Time, r.Lost = at.Add(3*time.Second), new(uint64(0)) // the listener began anew
	h.Add(r)
	if s := h.Recent()[1]; s.LostPercent != nil {
		t.Errorf("lost %v %% from counters that fell", *s.LostPercent)
	}
}

// TestQuantile checks against values worked out by hand from the definition of
// PromQL's histogram_quantile: linear inside the bucket.
func TestQuantile(t *testing.T) {
	bounds := []float64{1, 2, 4}
	for _, c := range []struct {
		q      float64
		counts []uint64
		want   float64
	}{
		{0.5, []uint64{10, 0, 0, 0}, 0.5},
		{0.5, []uint64{5, 5, 0, 0}, 1},
		{0.75, []uint64{5, 5, 0, 0}, 1.5},
		{0.99, []uint64{0, 0, 100, 0}, 3.98},
		{0.99, []uint64{1, 0, 0, 99}, 4}, // beyond the last bound: its bound
	} {
		var n uint64
		for _, k := range c.counts {
			n += k
		}
		got, ok := quantile(c.q, source.Histogram{}, source.Histogram{Bounds: bounds, Counts: c.counts, Count: n})
		if !ok || math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%v of %v: %v, want %v", c.q, c.counts, got, c.want)
		}
	}
	if _, ok := quantile(0.99, source.Histogram{}, source.Histogram{}); ok {
		t.Error("a quantile of nothing")
	}
}

func TestMemoryIsBounded(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		h := New()
		start := time.Now()
		for i := range 50 * 3600 { // fifty hours
			r := Reading{Time: start.Add(time.Duration(i) * time.Second), Frames: uint64(i) * 40, WantedHz: 40, Answering: new(3)}
			if i%60 == 30 {
				r.Answering = new(2)
			}
			h.Add(r)
		}
		recent, day := h.Recent(), h.Day()
		if len(recent) != 300 || len(day) != 1440 {
			t.Fatalf("%d seconds and %d minutes are kept, want 300 and 1440", len(recent), len(day))
		}
		end := start.Add((50*3600 - 1) * time.Second)
		if !recent[299].Time.Equal(end) || recent[0].Time.Sub(recent[299].Time) != -299*time.Second {
			t.Errorf("the seconds run from %v to %v", recent[0].Time, recent[299].Time)
		}
		for i, s := range day {
			if i > 0 && s.Time.Sub(day[i-1].Time) != time.Minute {
				t.Fatalf("minute %d is %v after the one before", i, s.Time.Sub(day[i-1].Time))
			}
			if s.RateHz != 40 || *s.Answering != 2 {
				t.Fatalf("minute %d: %v Hz, %d answering; want 40 and the fewest, 2", i, s.RateHz, *s.Answering)
			}
		}
	})
}

func TestDrawing(t *testing.T) {
	h := New()
	now := time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC)
	var frames uint64
	for at := now.Add(-30 * time.Hour); !at.After(now); at = at.Add(30 * time.Second) {
		hz := uint64(40)
		ago := now.Sub(at)
		if ago > 5*time.Hour && ago < 6*time.Hour {
			continue // the program was away
		}
		if ago > 2*time.Hour && ago < 2*time.Hour+10*time.Minute {
			hz = 20
		}
		frames += 30 * hz
		h.Add(Reading{Time: at, Frames: frames, WantedHz: 40})
	}
	page, err := h.Draw("Harbour <Street>", "Now held <dark>.", now)
	if err != nil {
		t.Fatal(err)
	}
	if strings.Contains(page, "<Street>") || strings.Contains(page, "<style") || strings.Contains(page, "style=") || strings.Contains(page, "<script>") {
		t.Error("the page holds a name as it came, or style or script of its own")
	}
	for _, want := range []string{"&lt;dark&gt;", "Packets lost on the way to the listener; ", "Harbour &lt;Street&gt;", "Wed 09:50 to 10:00: Too few frames were sent.", `href="/"`} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	svg := page[strings.Index(page, "<svg"):strings.LastIndex(page, "</svg>")] + "</svg>"
	lines := 0
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("the drawing is no XML: %v", err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "polyline" {
			lines++
		}
	}
	if lines != 5 { // before the gap and after it, of two charts, and what is wanted
		t.Errorf("%d lines, want 5: the gap must not be bridged", lines)
	}
}

func TestEmptyDrawing(t *testing.T) {
	page, err := New().Draw("x", "", time.Now())
	if err != nil || !strings.Contains(page, "No minute is over yet") {
		t.Errorf("%v: %.200s", err, page)
	}
}

// Three hours are drawn over the whole width, a fault of one minute is broad enough
// to see on a phone, and it is told with its names and what to do.
func TestFaultsAreTold(t *testing.T) {
	h := New()
	now := time.Date(2026, 11, 25, 21, 0, 0, 0, time.UTC)
	for at := now.Add(-3 * time.Hour); !at.After(now); at = at.Add(20 * time.Second) {
		r := Reading{Time: at, Frames: uint64(40 * at.Sub(now.Add(-4*time.Hour)) / time.Second), WantedHz: 40, Answering: new(2), Controllers: new(2), Conflicts: new(0)}
		if at.Equal(now.Add(-time.Hour)) {
			r.Answering, r.Silent = new(1), []string{"boathouse"}
		}
		if ago := now.Sub(at); ago >= 30*time.Minute && ago < 40*time.Minute {
			r.Conflicts, r.Others = new(1), []string{"desk at 192.0.2.9 on universe 3 (quay-rail)"}
		}
		if ago := now.Sub(at); ago > 19*time.Minute && ago <= 20*time.Minute+20*time.Second {
			r.Outage, r.Empty = 20*time.Second, []string{"universe 4 (roof)"}
		}
		h.Add(r)
	}
	page, err := h.Draw("x", "", now)
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{
		"From Wed 25 Nov 18:00 to", "A controller did not answer.</b> Concerned: boathouse. Check its supply",
		"Wed 20:20 to 20:30: Another source sent to our universes.</b> Concerned: desk at 192.0.2.9 on universe 3 (quay-rail). Stop that sender",
		"A universe had no packets, 1m20s in all.</b> Concerned: universe 4 (roof). Check the cable",
		`points="90,`, `width="12"`,
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page lacks %q", want)
		}
	}
	if n := strings.Count(page, "<li>"); n != 3 {
		t.Errorf("%d faults are told, want 3", n)
	}
}
