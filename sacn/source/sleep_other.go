//go:build !linux

package source

import "time"

func ownThread() {}

func newSleeper() func(time.Time) {
	return func(t time.Time) { time.Sleep(time.Until(t)) }
}
