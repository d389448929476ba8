package state

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/sacn"
	"yardproof/sacn/sacntest"
)

func open(t *testing.T, path string) *Dir {
	t.Helper()
	d, err := Open(path)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { d.Close() })
	return d
}

func TestLocked(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a", "b")
	d := open(t, path)
	if _, err := Open(path); !errors.Is(err, ErrInUse) {
		t.Fatalf("a second Open: %v, want ErrInUse", err)
	}
	d.Close()
	open(t, path)
}

func TestCIDStays(t *testing.T) {
	path := t.TempDir()
	d := open(t, path)
	first, err := d.CID()
	if err != nil {
		t.Fatal(err)
	}
	d.Close()
	again, err := open(t, path).CID()
	if err != nil || again != first {
		t.Errorf("after a restart the CID is %v, %v; want %v", again, err, first)
	}
	sacntest.Write(t, filepath.Join(path, "cid"), "torn")
	d = &Dir{path: path}
	if _, err := d.CID(); err == nil || !strings.Contains(err.Error(), "delete the file") {
		t.Errorf("a torn CID file: %v, want the remedy", err)
	}
}

// A receiver may have heard more packets than were noted, up to those between two saves; none of the
// numbers it can hold may make it discard what comes next.
func TestRestartIsAccepted(t *testing.T) {
	d := open(t, t.TempDir())
	if got := d.FirstSequence(); got != 0 {
		t.Errorf("a new directory begins at %d, want 0", got)
	}
	for noted := range 256 {
		if err := d.SaveSequence(uint8(noted)); err != nil {
			t.Fatal(err)
		}
		next := d.FirstSequence()
		for heard := range FramesBetweenSaves + 7 {
			if last := uint8(noted + heard); !sacn.AcceptSequence(last, next) {
				t.Fatalf("noted %d, heard %d: the receiver discards %d", noted, last, next)
			}
		}
	}
}

func TestWriteReplaces(t *testing.T) {
	d := open(t, t.TempDir())
	for _, text := range []string{"first", "second, and longer"} {
		if err := d.Write("progress", []byte(text)); err != nil {
			t.Fatal(err)
		}
		if got, err := os.ReadFile(d.Path("progress")); string(got) != text || err != nil {
			t.Errorf("read %q, %v", got, err)
		}
	}
	entries, err := os.ReadDir(d.path)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if strings.Contains(e.Name(), ".new-") {
			t.Errorf("%s was left behind", e.Name())
		}
	}
}
