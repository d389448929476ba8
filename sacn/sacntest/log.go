package sacntest

import (
	"bytes"
	"strings"
	"sync"
)

// Log is a text that one writes while another reads it.
type Log struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (l *Log) Write(b []byte) (int, error) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.Write(b)
}

// String returns what was written so far.
func (l *Log) String() string {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.text.String()
}

// Count returns how often something was written so far.
func (l *Log) Count(what string) int { return strings.Count(l.String(), what) }
