package web

import (
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// A page that waits for something for ever stands still, though its listener accepts.
func TestStuckPageStandsStill(t *testing.T) {
	free := make(chan struct{})
	stuck := make(chan struct{})
	says := 0
	y := newYard(t, func(c *Config) {
		c.Says = func() string {
			if says++; says == 2 {
				close(stuck)
				<-free
			}
			return ""
		}
	})
	end := serve(t, y, sacntest.Listen(t))
	<-stuck
	if got := y.Moves(); got != 1 {
		t.Errorf("it has moved %d times before it was stuck", got)
	}
	time.Sleep(2 * time.Second)
	if got := y.Moves(); got != 1 {
		t.Errorf("stuck, it has moved %d times", got)
	}
	close(free)
	for y.Moves() < 2 {
		time.Sleep(10 * time.Millisecond)
	}
	end()
}
