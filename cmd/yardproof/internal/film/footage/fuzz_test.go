package footage

import (
	"bufio"
	"bytes"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/iotest"
	"time"
)

// FuzzTimes gives any times.txt: a time within bounds for each line, or one sentence
// that names the line.
func FuzzTimes(f *testing.F) {
	for _, seed := range []string{"0\n0.077\n0.154\n", "0\r\n1e-3\r\n", "soon\n", "NaN\n", "+Inf", "-0\n", "1e400", "0x1p4\n", "", "\n\n1", "0\x00"} {
		f.Add([]byte(seed))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		path := filepath.Join(t.TempDir(), timesName)
		if err := os.WriteFile(path, text, 0o600); err != nil {
			t.Fatal(err)
		}
		times, err := readTimes(path)
		if err != nil {
			if strings.Contains(err.Error(), "\n") || !strings.HasPrefix(err.Error(), path+":") {
				t.Errorf("%q: %q", text, err)
			}
			return
		}
		if lines := bytes.Count(text, []byte("\n")) + 1; len(times) > lines {
			t.Errorf("%d times of %d lines", len(times), lines)
		}
		for _, at := range times {
			if at < 0 || at > seconds(maxNumber) {
				t.Errorf("%q: %v", text, at)
			}
		}
	})
}

// FuzzDirectory gives a directory any two frames: they are handed on as they are.
func FuzzDirectory(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xd9"), []byte{})
	f.Fuzz(func(t *testing.T, a, b []byte) {
		dir := t.TempDir()
		for name, text := range map[string][]byte{"1.jpg": a, "2.JPEG": b, timesName: []byte("0\n0.1"), "note.txt": a} {
			if err := os.WriteFile(filepath.Join(dir, name), text, fs.FileMode(0o600)); err != nil {
				t.Fatal(err)
			}
		}
		var got [][]byte
		if err := Each(t.Context(), dir, func(_ time.Duration, frame []byte) error { got = append(got, frame); return nil }); err != nil {
			t.Fatal(err)
		}
		if len(got) != 2 || !bytes.Equal(got[0], a) || !bytes.Equal(got[1], b) {
			t.Errorf("%q and %q became %q", a, b, got)
		}
	})
}

// FuzzNextJPEG cuts any octets: what is cut, put together, is what came, up to a
// picture that was only begun.
func FuzzNextJPEG(f *testing.F) {
	f.Add([]byte("\xff\xd8\xff\xd9\xff\xd8"))
	f.Add([]byte("\xd9\xff\xd9\xff"))
	f.Fuzz(func(t *testing.T, all []byte) {
		in := bufio.NewReader(iotest.HalfReader(bytes.NewReader(all)))
		var cut []byte
		for {
			frame, err := nextJPEG(in)
			if err != nil {
				break
			}
			if !bytes.HasSuffix(frame, []byte{0xff, 0xd9}) || bytes.Count(frame, []byte{0xff, 0xd9}) != 1 {
				t.Errorf("%q is no one picture", frame)
			}
			cut = append(cut, frame...)
		}
		if rest, ok := bytes.CutPrefix(all, cut); !ok || bytes.Contains(rest, []byte{0xff, 0xd9}) {
			t.Errorf("of %q was cut %q", all, cut)
		}
	})
}
