package durable

import (
	"os"
	"path/filepath"
	"testing"
)

func TestReplace(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "page")
	for _, text := range []string{"old and long", "new"} {
		if err := Replace(path, []byte(text), 0o640); err != nil {
			t.Fatal(err)
		}
		got, err := os.ReadFile(path)
		if err != nil || string(got) != text {
			t.Errorf("%q, %v", got, err)
		}
	}
	if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 {
		t.Errorf("%v, %v", info, err)
	}
	// What cannot be put in place leaves what was there, and nothing beside it.
	if err := os.Mkdir(filepath.Join(dir, "taken"), 0o700); err != nil {
		t.Fatal(err)
	}
	if err := Replace(filepath.Join(dir, "taken"), []byte("x"), 0o600); err == nil {
		t.Error("a directory was replaced by a file")
	}
	if left, err := os.ReadDir(dir); err != nil || len(left) != 2 {
		t.Errorf("left in the directory: %v, %v", left, err)
	}
}
