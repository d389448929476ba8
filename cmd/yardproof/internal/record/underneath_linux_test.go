package record

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"yardproof/sacn/sacntest"

	"golang.org/x/sys/unix"
)

// What others do to the file is noticed before anything more is acknowledged.
func TestChangedUnderneath(t *testing.T) {
	for what, change := range map[string]func(dir, path string) error{
		"emptied":  func(_, path string) error { return os.Truncate(path, 0) },
		"renamed":  func(_, path string) error { return os.Rename(path, path+"~") },
		"removed":  func(dir, _ string) error { return os.RemoveAll(dir) },
		"replaced": func(_, path string) error { os.Rename(path, path+"~"); return os.WriteFile(path, nil, 0o600) },
		"a second program": func(dir, _ string) error {
			f, err := os.OpenFile(filepath.Join(dir, FileName), os.O_APPEND|os.O_WRONLY, 0)
			if err != nil {
				return err
			}
			defer f.Close()
			_, err = f.WriteString("{\"kind\":\"note\",\"note\":\"theirs\"}\n")
			return err
		},
	} {
		dir := filepath.Join(t.TempDir(), "state")
		if err := os.Mkdir(dir, 0o700); err != nil {
			t.Fatal(err)
		}
		l := open(t, dir)
		add(t, l, Line{Kind: Note, Note: "before"})
		if err := change(dir, filepath.Join(dir, FileName)); err != nil {
			t.Fatal(err)
		}
		if _, err := l.Append(Line{Kind: Note, Note: "after"}); err == nil || !strings.Contains(err.Error(), "start yardproof again") {
			t.Errorf("%s: the next line is answered %v", what, err)
		}
	}
}

// One program writes a record at a time, whatever becomes of the lock beside it.
func TestOneWriter(t *testing.T) {
	dir := t.TempDir()
	l := open(t, dir)
	if _, _, err := Open(dir); !errors.Is(err, ErrInUse) || !strings.Contains(err.Error(), "stop that one") {
		t.Fatalf("a second writer: %v", err)
	}
	if _, _, err := readAll(dir); err != nil {
		t.Errorf("a reader: %v", err)
	}
	l.Close()
	add(t, open(t, dir), Line{Kind: Note, Note: "the next one"})
}

func TestPipeForARecord(t *testing.T) {
	dir := t.TempDir()
	if err := unix.Mkfifo(filepath.Join(dir, FileName), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, _, err := Open(dir); err == nil || !strings.Contains(err.Error(), "no ordinary file") {
		t.Error(err)
	}
	if _, _, err := readAll(dir); err == nil || !strings.Contains(err.Error(), "no ordinary file") {
		t.Error(err)
	}
}

func TestManyDamagedLines(t *testing.T) {
	dir := t.TempDir()
	sacntest.Write(t, filepath.Join(dir, FileName), strings.Repeat("rubbish\n", 100_000))
	_, notes, err := readAll(dir)
	if err != nil || len(notes) != maxNotes+1 || !strings.Contains(notes[maxNotes], "100000 lines") {
		t.Errorf("%d notes, %v", len(notes), err)
	}
}

// A torn line that cannot be set aside stops no start: only recording waits.
func TestTornLineWithoutRoom(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, FileName)
	sacntest.Write(t, path, `{"kind":"no`)
	if err := os.Mkdir(filepath.Join(dir, TornName), 0o700); err != nil { // in its way
		t.Fatal(err)
	}
	l, notes, err := Open(dir)
	if err != nil || len(notes) != 1 {
		t.Fatalf("%q, %v", notes, err)
	}
	defer l.Close()
	if _, err := l.Append(Line{Kind: Note, Note: "x"}); err == nil {
		t.Error("a line is acknowledged behind a torn one")
	}
	if err := os.Remove(filepath.Join(dir, TornName)); err != nil {
		t.Fatal(err)
	}
	add(t, l, Line{Kind: Note, Note: "with room"})
	if lines, notes, err := readAll(dir); err != nil || len(lines) != 1 || len(notes) != 0 {
		t.Errorf("%v, %q, %v", lines, notes, err)
	}
}
