package burnin

import (
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/record"
)

// A look from a shell is a file in the state directory: that needs no address,
// no permission but the directory's, and no program that runs. The burn-in takes
// it up within a second, or when it next starts.
const (
	lookPattern = "look-*.json"
	maxLook     = 1 << 16 // octets of such a file
)

type look struct {
	Time time.Time `json:"time"`
	Note string    `json:"note,omitempty"`
}

// LeaveLook leaves a look in a state directory. It is on disk when LeaveLook
// returns without an error.
func LeaveLook(dir, note string) error {
	text, err := json.Marshal(look{time.Now(), note})
	if err != nil {
		return err
	}
	// Whoever runs the burn-in reads it, and that may be another user.
	if err := durable.Replace(filepath.Join(dir, fmt.Sprintf("look-%d.json", time.Now().UnixNano())), text, 0o644); err != nil {
		return fmt.Errorf("look: %w", err)
	}
	return nil
}

// collectLooks takes up what was left in the state directory.
func (b *BurnIn) collectLooks() {
	files, err := filepath.Glob(b.cfg.State.Path(lookPattern))
	if err != nil {
		return // the pattern is a constant
	}
	slices.Sort(files)
	for _, file := range files {
		l, err := readLook(file)
		if err == nil {
			err = b.looked(l)
		} else {
			err = errors.Join(err, os.Rename(file, file+".unreadable"))
		}
		if err != nil {
			b.cfg.Log.Error("a look was not counted", "error", err)
			continue
		}
		if err := os.Remove(file); err != nil {
			b.cfg.Log.Error("a look is counted twice", "error", err)
		}
	}
}

func readLook(file string) (look, error) {
	var l look
	info, err := os.Stat(file)
	if err != nil {
		return l, err
	}
	if !info.Mode().IsRegular() || info.Size() > maxLook {
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
// returns without an error.
func (b *BurnIn) Looked(note string) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	defer b.publish()
	return b.looked(look{time.Now(), note})
}

func (b *BurnIn) looked(l look) error {
	line := record.Line{Time: l.Time, Kind: record.Inspection, Plan: b.plan.Name, Note: l.Note}
	// What is shown only since the look was taken is not what was looked at.
	if show := b.cfg.Session.Snapshot().Shown; !show.Since.IsZero() && !show.Since.After(l.Time) {
		level := show.LevelNow * 100
		line.Pattern, line.LevelPercent = show.Pattern.Name, &level
	}
	if _, err := b.cfg.Record(line); err != nil {
		return err
	}
	b.progress.Looks++
	b.progress.LastLook = l.Time
	if err := b.progress.write(b.cfg.State); err != nil { // the next minute's write brings it
		b.cfg.Log.Error("a look is on record, and not yet counted on disk", "error", err)
	}
	return nil
}
