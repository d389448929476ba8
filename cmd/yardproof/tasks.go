package main

import (
	"context"
	"errors"
)

// A task runs until ctx ends, and returns nil when that is why it ended.
type task func(ctx context.Context) error

// together runs tasks until ctx ends or one of them returns an error, which
// ends the others. It waits for all, and joins their errors.
func together(ctx context.Context, tasks ...task) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	results := make(chan error)
	for _, run := range tasks {
		go func() {
			err := run(ctx)
			if err != nil {
				cancel()
			}
			results <- err
		}()
	}
	var errs []error
	for range tasks {
		errs = append(errs, <-results)
	}
	return errors.Join(errs...)
}
