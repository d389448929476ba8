package web

import (
	"context"
	"net"
	"testing"
	"time"
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
	ln, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- y.Serve(ctx, ln) }()
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
	if err := <-ended; err != nil {
		t.Error(err)
	}
}
