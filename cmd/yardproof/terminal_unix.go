//go:build unix

package main

import (
	"io"
	"os"

	"golang.org/x/sys/unix"
)

// terminalSize reports whether w is a terminal, and returns what tells its
// height and width, which may change.
func terminalSize(w io.Writer) (size func() (rows, columns int), ok bool) {
	f, isFile := w.(*os.File)
	if !isFile {
		return nil, false
	}
	if _, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ); err != nil {
		return nil, false
	}
	return func() (int, int) {
		ws, err := unix.IoctlGetWinsize(int(f.Fd()), unix.TIOCGWINSZ)
		if err != nil || ws.Row == 0 || ws.Col == 0 {
			return 24, 80
		}
		return int(ws.Row), int(ws.Col)
	}, true
}
