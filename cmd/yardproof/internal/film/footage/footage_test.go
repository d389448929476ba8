package footage

import (
	"bytes"
	"context"
	"errors"
	"image/jpeg"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"yardproof/sacn/sacntest"
)

// film has ffmpeg make one, into a file of this name.
func film(t *testing.T, name string, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if out, err := exec.Command("ffmpeg", append(append([]string{"-nostdin", "-v", "error"}, args...), path)...).CombinedOutput(); err != nil {
		t.Fatalf("ffmpeg: %v: %s", err, out)
	}
	return path
}

type shown struct {
	at            time.Duration
	width, height int
}

func all(t *testing.T, path string) (frames []shown) {
	t.Helper()
	if err := Each(t.Context(), path, func(at time.Duration, frame []byte) error {
		m, err := jpeg.Decode(bytes.NewReader(frame))
		if err != nil {
			t.Fatal(err)
		}
		frames = append(frames, shown{at, m.Bounds().Dx(), m.Bounds().Dy()})
		return nil
	}); err != nil {
		t.Fatal(err)
	}
	return frames
}

// Films of phones: thirty or sixty frames a second, held upright, larger than needed.
// ffmpeg's own sources say what is in them.
func TestFile(t *testing.T) {
	t.Parallel()
	sacntest.NeedTool(t, "ffmpeg")
	wide := film(t, "wide.mp4", "-f", "lavfi", "-i", "testsrc=size=160x90:rate=30:duration=2", "-c:v", "mpeg4")
	tall := film(t, "tall.mp4", "-i", wide, "-c", "copy", "-metadata:s:v", "rotate=90")
	large := film(t, "large.mp4", "-f", "lavfi", "-i", "testsrc=size=3840x2160:rate=60:duration=0.1", "-c:v", "mpeg4")
	for _, tt := range []struct {
		path                  string
		frames, width, height int
		apart                 time.Duration
	}{
		{wide, 30, 160, 90, 66 * time.Millisecond},
		{tall, 30, 90, 160, 66 * time.Millisecond},
		{large, 2, 1920, 1080, 66 * time.Millisecond},
	} {
		frames := all(t, tt.path)
		if len(frames) != tt.frames {
			t.Errorf("%s: %d frames, want %d", tt.path, len(frames), tt.frames)
		}
		for i, f := range frames {
			if f.width != tt.width || f.height != tt.height || i > 0 && (f.at-frames[i-1].at).Truncate(time.Millisecond) != tt.apart {
				t.Errorf("%s: frame %d is %+v", tt.path, i, f)
			}
		}
	}
	// A film that is cut off: without its index it cannot be read, and says so; with one,
	// what is there is read.
	cut := func(path string) string {
		text, err := os.ReadFile(path)
		if err == nil {
			path = filepath.Join(t.TempDir(), "cut"+filepath.Ext(path))
			err = os.WriteFile(path, text[:len(text)*2/3], 0o600)
		}
		if err != nil {
			t.Fatal(err)
		}
		return path
	}
	if err := Each(t.Context(), cut(wide), nil); err == nil || !strings.Contains(err.Error(), "cut.mp4 cannot be read as a film; copy it from the phone again, whole (ffmpeg says: ") || strings.Contains(err.Error(), "\n") {
		t.Errorf("of a film without its end: %v", err)
	}
	if n := len(all(t, cut(film(t, "whole.mkv", "-i", wide, "-c", "copy")))); n < 10 || n > 29 {
		t.Errorf("of two thirds of a film %d frames in 30 are read", n)
	}
	// Whoever takes frames may have enough, as of ten minutes.
	long, n, enough := film(t, "long.mp4", "-f", "lavfi", "-i", "color=size=64x36:rate=2:duration=600", "-c:v", "mpeg4"), 0, errors.New("enough")
	if err := Each(t.Context(), long, func(time.Duration, []byte) error {
		if n++; n == 50 {
			return enough
		}
		return nil
	}); !errors.Is(err, enough) || n != 50 {
		t.Errorf("%v after %d frames", err, n)
	}
	ctx, cancel := context.WithCancel(t.Context())
	if err := Each(ctx, long, func(time.Duration, []byte) error { cancel(); return nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("%v after it was cancelled", err)
	}
	song := film(t, "song.wav", "-f", "lavfi", "-i", "sine=duration=1")
	note := filepath.Join(t.TempDir(), "note.mp4")
	if err := os.WriteFile(note, []byte("milk, bread"), 0o600); err != nil {
		t.Fatal(err)
	}
	for _, path := range []string{song, note} {
		if err := Each(t.Context(), path, nil); err == nil || !strings.Contains(err.Error(), " cannot be read as a film") || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", path, err)
		}
	}
}

func TestNoTool(t *testing.T) {
	t.Setenv("PATH", t.TempDir())
	path := filepath.Join(t.TempDir(), "yard.mp4")
	if err := os.WriteFile(path, []byte("x"), 0o600); err != nil {
		t.Fatal(err)
	}
	err := Each(t.Context(), path, nil)
	if err == nil || !strings.Contains(err.Error(), "ffmpeg is needed, and it is not installed: install it, hand the film to the page, or give a directory of JPEG frames with times.txt") {
		t.Error(err)
	}
}
