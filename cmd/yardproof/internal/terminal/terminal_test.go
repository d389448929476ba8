package terminal

import (
	"bytes"
	"io"
	"os"
	"testing"
)

// A device that takes characters is not a terminal for that.
func TestNoTerminal(t *testing.T) {
	null, err := os.OpenFile(os.DevNull, os.O_WRONLY, 0)
	if err != nil {
		t.Fatal(err)
	}
	defer null.Close()
	for _, w := range []io.Writer{io.Discard, null} {
		if _, ok := Size(w); ok {
			t.Errorf("%T is a terminal", w)
		}
	}
}

func TestStatusLine(t *testing.T) {
	var b bytes.Buffer
	s := NewStatusLine(&b)
	if s.Live {
		t.Error("a buffer is no terminal")
	}
	s.Set("nobody sees it")
	s.Live = true
	s.Set("[##--]")
	if n, err := s.Write([]byte("a line\n")); n != 7 || err != nil {
		t.Errorf("%d, %v", n, err)
	}
	s.Set("[###-]")
	s.Set("")
	want := clearLine + "[##--]" + clearLine + "a line\n[##--]" + clearLine + "[###-]" + clearLine
	if b.String() != want {
		t.Errorf("%q, want %q", b.String(), want)
	}
}
