//go:build !linux

package source

import (
	"errors"
	"time"
)

// poll stands for notices that these systems give in other ways: the interface
// is looked at often.
type poll chan struct{}

func newChanges() (changes, error) { return make(poll), nil }

func (p poll) Wait() error {
	select {
	case <-p:
		return errors.New("closed")
	case <-time.After(lookTime):
		return nil
	}
}

func (p poll) Close() error {
	close(p)
	return nil
}

func advise(Config, linkState) Advice { return Advice{} }
