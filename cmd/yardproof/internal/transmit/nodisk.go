package transmit

import (
	"fmt"
	"os"
	"path/filepath"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
)

// openState opens the state directory and the record in it. A disk that is full,
// read-only or broken is no reason not to send: then nothing is kept, and log, status
// line, page and metrics say so.
func (t *Transmitter) openState() (err error) {
	path := t.cfg.State
	if path == "" {
		t.temporary = true
		if path, err = os.MkdirTemp("", "yardproof-demo-*"); err != nil {
			return err
		}
	}
	if t.state, err = state.Open(path); err != nil {
		return err
	}
	if _, err := t.state.CID(); err != nil { // made now, so that it is known whether it can be kept
		t.state.Close()
		return err
	}
	var notes []string
	if problem := t.state.Problem(); problem != nil {
		t.record, notes = record.Refusing(path, problem)
	} else if t.record, notes, err = record.Open(path); err != nil {
		t.state.Close()
		return err
	}
	for _, note := range notes {
		t.cfg.Log.Warn(note)
	}
	if problem := t.record.Problem(); problem != nil {
		t.cfg.Log.Error("frames go out, but nothing can be recorded; mend the disk and start yardproof again", "state", path, "error", problem)
	}
	return nil
}

// pageState returns the directory in which the page keeps its phones and links: the
// state directory, or where that keeps nothing a temporary one, with the phones that
// are known already.
func (t *Transmitter) pageState() (string, error) {
	kept := t.state.Path(".")
	if t.state.Problem() == nil {
		return kept, nil
	}
	var dir string
	var err error
	for _, in := range []string{os.TempDir(), "/dev/shm", "/run"} {
		if dir, err = os.MkdirTemp(in, "yardproof-page-*"); err == nil {
			break
		}
	}
	if err != nil {
		return "", fmt.Errorf("no place for the page's links: %w; give --state a directory that can be written", err)
	}
	t.pageOnly = dir
	phones, err := os.ReadDir(filepath.Join(kept, "phones"))
	if err != nil {
		return dir, nil // none is known
	}
	for _, p := range phones {
		if err := copyKey(filepath.Join(kept, "phones"), filepath.Join(dir, "phones"), p.Name()); err != nil {
			t.cfg.Log.Warn("a phone needs a new link", "error", err)
		}
	}
	return dir, nil
}

// copyKey copies a small file with its time, which is part of what it says.
func copyKey(from, to, name string) error {
	info, err := os.Stat(filepath.Join(from, name))
	if err != nil {
		return err
	}
	text, err := os.ReadFile(filepath.Join(from, name))
	if err != nil {
		return err
	}
	if err := os.MkdirAll(to, 0o700); err != nil {
		return err
	}
	path := filepath.Join(to, name)
	if err := os.WriteFile(path, text, 0o600); err != nil {
		return err
	}
	return os.Chtimes(path, info.ModTime(), info.ModTime())
}
