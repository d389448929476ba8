package burnin

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"time"

	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/record"
)

// An inspection from a shell is a file in the state directory: that needs no address,
// no permission but the directory's, and no program that runs. The burn-in takes
// it up within a second, or when it next starts.
const (
	inspectionPattern = "look-*.json"
	maxInspection     = 1 << 16 // octets of such a file
)

type inspection struct {
	Time time.Time `json:"time"`
	Note string    `json:"note,omitempty"`
}

// LeaveInspection leaves an inspection in a state directory. It is on disk when LeaveInspection
// returns without an error.
func LeaveInspection(dir, note string) error {
	text, err := json.Marshal(inspection{time.Now(), note})
	if err != nil {
		return err
	}
	// Whoever runs the burn-in reads it, and that may be another user.
	if err := durable.Replace(filepath.Join(dir, fmt.Sprintf("look-%d.json", time.Now().UnixNano())), text, 0o644); err != nil {
		return fmt.Errorf("look: %w", err)
	}
	return nil
}

// inspectionFiles are those that were left in a directory and no burn-in has taken up yet.
func inspectionFiles(dir string) (files []string, err error) {
	there, err := os.ReadDir(dir)
	for _, f := range there {
		if match, _ := filepath.Match(inspectionPattern, f.Name()); match { // the pattern is a constant
			files = append(files, filepath.Join(dir, f.Name()))
		}
	}
	return files, err
}

// collectInspections takes up what was left in the state directory. It waits for the disk.
func (b *BurnIn) collectInspections() error {
	files, err := inspectionFiles(b.cfg.State.Path(""))
	problems := []error{err}
	for _, file := range files {
		l, err := readInspection(file)
		if err == nil {
			err = b.looked(l, strings.TrimSuffix(filepath.Base(file), ".json")) // found again, it is not counted again
		} else {
			err = errors.Join(err, os.Rename(file, file+".unreadable"))
		}
		if err == nil {
			err = b.keeper.write()
		}
		if err == nil {
			err = os.Remove(file)
		}
		if err != nil {
			problems = append(problems, fmt.Errorf("a look was not counted: %w", err))
		}
	}
	return errors.Join(problems...)
}

func readInspection(file string) (inspection, error) {
	var l inspection
	info, err := os.Stat(file)
	if err != nil {
		return l, err
	}
	if !info.Mode().IsRegular() || info.Size() > maxInspection {
		return l, fmt.Errorf("%s is no look", file)
	}
	text, err := os.ReadFile(file)
	if err != nil {
		return l, err
	}
	if err := json.Unmarshal(text, &l); err != nil {
		return l, fmt.Errorf("%s: %w", file, err)
	}
	return l, nil
}

// Looked notes that somebody looked at the display. It is on record when Looked
// returns without an error. Once is a word of whoever asks, see [record.Line]; "": none.
func (b *BurnIn) Looked(note, once string) error { return b.looked(inspection{time.Now(), note}, once) }

// looked waits for the disk, and holds up nobody meanwhile.
func (b *BurnIn) looked(l inspection, once string) error {
	b.mu.Lock()
	plan := b.plan.Name
	b.mu.Unlock()
	line := record.Line{Time: l.Time, Kind: record.Inspection, Plan: plan, Note: l.Note, Once: once}
	// What is shown only since the look was taken is not what was looked at.
	// By their ages, since the wall clock may have been set in between.
	if show := b.cfg.Session.Snapshot().Shown; !show.Since.IsZero() && time.Since(l.Time) <= time.Since(show.Since) {
		level := show.LevelNow * 100
		line.Pattern, line.LevelPercent = show.Pattern.Name, &level
	}
	kept, err := b.cfg.Record(line)
	again := errors.Is(err, record.ErrAgain)
	if err != nil && !again {
		return err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if again && !kept.Time.After(b.progress.LastLook) {
		return nil // else the program ended between the record and the count
	}
	b.progress.Looks++
	if kept.Time.After(b.progress.LastLook) {
		b.progress.LastLook = kept.Time
	}
	b.save(b.saved)
	return nil
}
