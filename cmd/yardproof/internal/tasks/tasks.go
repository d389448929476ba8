// Package tasks runs what has to go on side by side, and names what failed. It
// refuses to know what the tasks are for.
package tasks

import (
	"context"
	"errors"
	"fmt"
)

// A Task runs until ctx ends, and returns nil when that is why it ended. What it
// returns otherwise is told with its name.
type Task struct {
	Name string
	Run  func(ctx context.Context) error
}

// Run runs tasks until ctx ends or one of them returns an error, which ends the
// others. It waits for all, and joins their errors.
func Run(ctx context.Context, list ...Task) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	results := make(chan error)
	for _, t := range list {
		go func() {
			err := t.Run(ctx)
			if err != nil {
				err = fmt.Errorf("%s: %w", t.Name, err)
				cancel()
			}
			results <- err
		}()
	}
	var errs []error
	for range list {
		errs = append(errs, <-results)
	}
	return errors.Join(errs...)
}
