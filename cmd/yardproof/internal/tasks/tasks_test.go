package tasks

import (
	"context"
	"errors"
	"testing"
)

var errBroken = errors.New("broken")

func waits(ctx context.Context) error { <-ctx.Done(); return nil }

// One that fails ends the others, and is named.
func TestOneFails(t *testing.T) {
	err := Run(t.Context(), Task{"waiting", waits}, Task{"sending", func(context.Context) error { return errBroken }})
	if !errors.Is(err, errBroken) || err.Error() != "sending: broken" {
		t.Error(err)
	}
}

// One that is done leaves the others alone.
func TestOneEnds(t *testing.T) {
	ctx, end := context.WithCancel(t.Context())
	done := Task{"first", func(context.Context) error { return nil }}
	last := Task{"last", func(ctx context.Context) error { end(); return waits(ctx) }}
	if err := Run(ctx, done, last); err != nil {
		t.Error(err)
	}
}
