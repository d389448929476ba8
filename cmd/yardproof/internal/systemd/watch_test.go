package systemd

import (
	"slices"
	"testing"
	"time"
)

func TestWatch(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	counts := map[string]uint64{}
	var w Watch
	for _, name := range []string{"frames", "page", "programme"} {
		w.Add(name, now, func() uint64 { return counts[name] })
	}
	pass := func(n int, moving ...string) (stuck []string) {
		for range n {
			now = now.Add(time.Second)
			for _, name := range moving {
				counts[name]++
			}
			stuck = w.Stuck(now)
		}
		return stuck
	}
	for _, tt := range []struct {
		seconds int
		moving  []string
		stuck   []string
	}{
		{10, []string{"frames", "page", "programme"}, nil},
		{2, []string{"frames", "programme"}, nil}, // a slow page is no stuck one
		{1, []string{"frames", "programme"}, []string{"page"}},
		{1, []string{"frames", "page", "programme"}, nil},
		{3, []string{"frames", "page"}, []string{"programme"}},
		{5, nil, []string{"frames", "page", "programme"}},
	} {
		if got := pass(tt.seconds, tt.moving...); !slices.Equal(got, tt.stuck) {
			t.Errorf("%d s with %v moving: %v are stuck, want %v", tt.seconds, tt.moving, got, tt.stuck)
		}
	}
}
