//go:build !linux

package source

import (
	"errors"
	"time"
)

func realtime() error { return errors.ErrUnsupported }

func newSleeper(bool) func(time.Time) {
	return func(t time.Time) { time.Sleep(time.Until(t)) }
}
