package main

import "context"

// reload does nothing: Windows has no signal for it.
func (t *transmitter) reload(ctx context.Context) error {
	<-ctx.Done()
	return nil
}
