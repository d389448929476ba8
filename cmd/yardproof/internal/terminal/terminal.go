// Package terminal is what a person looks at while the program runs: whether it is
// a terminal, how large it is, and a line at its foot. It refuses to know what is
// written there.
package terminal

import (
	"fmt"
	"io"
	"os"
	"sync"

	"golang.org/x/term"
)

// Is reports whether w is a terminal, or ends in one.
func Is(w io.Writer) bool {
	for {
		switch at := w.(type) {
		case *os.File:
			return term.IsTerminal(int(at.Fd()))
		case interface{ Unwrap() io.Writer }:
			w = at.Unwrap()
		default:
			return false
		}
	}
}

// Size returns what tells the height and width of the terminal w, which may
// change; false when w is no terminal.
func Size(w io.Writer) (size func() (rows, columns int), ok bool) {
	f, ok := w.(*os.File)
	if !ok || !Is(f) {
		return nil, false
	}
	return func() (int, int) {
		columns, rows, err := term.GetSize(int(f.Fd()))
		if err != nil || rows == 0 || columns == 0 {
			return 24, 80
		}
		return rows, columns
	}, true
}

// StatusLine writes lines to a terminal above one that is drawn again and
// again; elsewhere it only writes.
type StatusLine struct {
	Live bool // w is a terminal

	mu   sync.Mutex
	w    io.Writer
	line string
}

// NewStatusLine returns one that writes to w.
func NewStatusLine(w io.Writer) *StatusLine { return &StatusLine{w: w, Live: Is(w)} }

// Unwrap returns where the lines go.
func (s *StatusLine) Unwrap() io.Writer { return s.w }

const clearLine = "\r\x1b[K" // ECMA-48 clause 8.3.41: erase to the end of the line

// Write implements [io.Writer].
func (s *StatusLine) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.line == "" {
		return s.w.Write(p)
	}
	text := append([]byte(clearLine), p...)
	if _, err := s.w.Write(append(text, s.line...)); err != nil {
		return 0, err
	}
	return len(p), nil
}

// Set draws another line; none for "", and where it is not live.
func (s *StatusLine) Set(line string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if line == s.line || !s.Live {
		return
	}
	s.line = line
	fmt.Fprint(s.w, clearLine+line) // a terminal that has gone is no reason to stop
}
