package main

import "context"

// catchHangups does nothing: Windows has no signal for it.
func (t *transmitter) catchHangups() (stop func()) { return func() {} }

// reload does nothing: Windows has no signal for it.
func (t *transmitter) reload(ctx context.Context) error {
	<-ctx.Done()
	return nil
}
