//go:build !linux

package source

import (
	"errors"
	"time"
)

func ownThread() {}

func realtime() error { return errors.ErrUnsupported }

func newSleeper() func(time.Time) {
	return func(t time.Time) { time.Sleep(time.Until(t)) }
}
