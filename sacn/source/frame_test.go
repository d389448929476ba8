package source

import (
	"testing"
	"time"

	"yardproof/sacn"
)

func TestFramesOnTheBeat(t *testing.T) {
	y := inYard(t, testConfig(), Look{Streams: multicasts(2), Render: count}, func(y *yard, s *Source) {
		time.Sleep(10*time.Second + time.Millisecond)
	})
	data := y.of(sacn.KindData, 1)
	if want := 400 + 2*farewell; len(data) != want {
		t.Fatalf("%d packets of universe 1, want %d", len(data), want)
	}
	for i, p := range data {
		if want := time.Duration(i+1) * 25 * time.Millisecond; p.at != want {
			t.Fatalf("packet %d left at %v, want %v", i, p.at, want)
		}
		if want := uint8(250 + i); p.seq != want {
			t.Fatalf("packet %d has sequence %d, want %d", i, p.seq, want)
		}
		if i < 400 && p.first != byte(i+1) {
			t.Fatalf("packet %d shows frame %d", i, p.first)
		}
	}
}
