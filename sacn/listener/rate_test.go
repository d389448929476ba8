package listener

import "testing"

// A burst of loss is counted right however often the sequence count goes round in
// it, at any rate, up to the 2.5 s that make it an outage.
func TestBurstsAtEveryRate(t *testing.T) {
	for _, rate := range []float64{40, 44, 100, 200, 1000} {
		for lost := 1; float64(lost+1)/rate < 2.5; lost += 1 + lost/7 {
			f := newFeed(TrackerConfig{})
			n := 0
			for range 100 {
				f.send(t, float64(n)*1000/rate, uint8(n))
				n++
			}
			for n += lost; n < 200+lost; n++ {
				f.send(t, float64(n)*1000/rate, uint8(n))
			}
			if s := f.stream(t, float64(n)*1000/rate); s.Lost != uint64(lost) || s.Duplicates+s.OutOfOrder+s.Restarts+uint64(s.Outages) != 0 {
				t.Fatalf("%g Hz, %d lost: %+v", rate, lost, s)
			}
		}
	}
	for _, lost := range []int{255, 256, 300} { // these were 1, 0 and 44
		f := newFeed(TrackerConfig{})
		for n := range 100 {
			f.send(t, float64(n)*5, uint8(n))
		}
		f.send(t, float64(100+lost)*5, uint8(100+lost))
		if s := f.stream(t, float64(100+lost)*5); s.Lost != uint64(lost) || s.Duplicates != 0 {
			t.Errorf("200 Hz: %d lost, counted %d and %d duplicates", lost, s.Lost, s.Duplicates)
		}
	}
}

// START codes other than 0 carry no levels: they are counted apart, in the same
// sequence (6.2.5).
func TestStartCodesApart(t *testing.T) {
	f := newFeed(TrackerConfig{})
	for n := range 10 {
		f.d.StartCode = 0
		if n%2 == 1 {
			f.d.StartCode = 0xdd
		}
		f.send(t, float64(n)*25, uint8(n))
	}
	if s := f.stream(t, 250); s.Packets != 10 || s.Others != 5 || s.OtherCode != 0xdd || s.Lost != 0 {
		t.Errorf("%+v", s)
	}
}
