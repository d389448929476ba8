// Package hold keeps a person's hold on the display in the state directory, so
// that it outlasts the program, and takes up the word of a shell that lifts it.
// It refuses to know what is shown, and delays nobody: a disk that stalls stalls
// the keeper alone.
package hold

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"sync/atomic"
	"time"

	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/cmd/yardproof/internal/session"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
)

const (
	file       = "hold.json"
	resumeFile = "resume" // left by a shell: that needs no address and no phone
)

// Keeper keeps the hold of a session on disk.
type Keeper struct {
	session *session.Session
	dir     *state.Dir
	log     *slog.Logger
	onDisk  atomic.Pointer[session.Hold] // as the session has it; nil: none
}

// Open puts the hold that was kept in force again. One that cannot be read is
// one: whoever made it is not there to be asked.
func Open(dir *state.Dir, s *session.Session, log *slog.Logger) *Keeper {
	k := &Keeper{session: s, dir: dir, log: log}
	text, err := os.ReadFile(dir.Path(file))
	if errors.Is(err, fs.ErrNotExist) {
		k.collect()
		return k
	}
	var h session.Hold
	if err == nil {
		err = json.Unmarshal(text, &h)
	}
	if err == nil && h.Since.IsZero() {
		err = errors.New("it does not say since when")
	}
	if err != nil {
		log.Error("the note of who holds the display cannot be read; everything stays dark until somebody lifts it", "file", dir.Path(file), "error", err)
		h = session.Hold{By: "somebody, by a note that cannot be read", Since: time.Now()}
	}
	s.Restore(h)
	k.onDisk.Store(s.Snapshot().Hold)
	k.collect()
	return k
}

// Run keeps what changes until ctx ends.
func (k *Keeper) Run(ctx context.Context) error {
	tick := time.NewTicker(time.Second)
	defer tick.Stop()
	failing := false
	for {
		changed := k.session.HoldChanged()
		if err := k.keep(); err != nil && !failing {
			failing = true
			k.log.Error("the hold is in force, but not on disk: it would not outlast a restart", "error", err)
		} else if err == nil && failing {
			failing = false
			k.log.Info("the hold is on disk again as it is in force")
		}
		select {
		case <-ctx.Done():
			return k.keep()
		case <-changed:
		case <-tick.C: // tries again what failed
			k.collect()
		}
	}
}

// Kept waits until the hold in force is on disk, at most for a time, and reports
// whether it is.
func (k *Keeper) Kept(ctx context.Context, most time.Duration) bool {
	end := time.NewTimer(most)
	defer end.Stop()
	look := time.NewTicker(2 * time.Millisecond)
	defer look.Stop()
	for k.onDisk.Load() != k.session.Snapshot().Hold {
		select {
		case <-ctx.Done():
			return false
		case <-end.C:
			return false
		case <-look.C:
		}
	}
	return true
}

// keep brings the disk up to what is in force.
func (k *Keeper) keep() error {
	h := k.session.Snapshot().Hold
	if h == k.onDisk.Load() {
		return nil
	}
	var err error
	if h == nil {
		if err = os.Remove(k.dir.Path(file)); errors.Is(err, fs.ErrNotExist) {
			err = nil
		}
	} else {
		var text []byte
		if text, err = json.Marshal(h); err == nil {
			err = k.dir.Write(file, append(text, '\n'))
		}
	}
	if err == nil {
		k.onDisk.Store(h)
	}
	return err
}

// collect takes up the word of a shell. A word older than the hold was about
// another one.
func (k *Keeper) collect() {
	info, err := os.Stat(k.dir.Path(resumeFile))
	if err != nil {
		return
	}
	if err := os.Remove(k.dir.Path(resumeFile)); err != nil {
		k.log.Error("the word that lifts the hold cannot be taken up", "error", err)
		return
	}
	h := k.session.Snapshot().Hold
	if h == nil {
		return
	}
	// Ages, and not times: the wall clock may have been set since the hold began.
	if held := time.Since(h.Since); held >= 0 && time.Since(info.ModTime()) > held {
		return
	}
	k.session.Resume()
	k.log.Info("the hold was lifted from a shell")
}

// LeaveResume leaves the word that lifts a hold in a state directory. The
// program takes it up within a second, or when it next starts.
func LeaveResume(dir string) error {
	// Whoever runs the transmitter takes it up, and that may be another user.
	if err := durable.Replace(filepath.Join(dir, resumeFile), nil, 0o644); err != nil {
		return fmt.Errorf("resume: %w", err)
	}
	return nil
}

// Describe says in words who holds the display, and since when.
func Describe(h *session.Hold) string {
	what := "chosen by hand"
	if h.Dark {
		what = "held dark"
	}
	return fmt.Sprintf("%s by %s since %s", what, h.By, h.Since.Local().Format(textout.Minutes))
}

// Read returns the hold that is kept in a state directory; nil when there is
// none, or none that can be read.
func Read(dir string) *session.Hold {
	text, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil {
		return nil
	}
	var h session.Hold
	if json.Unmarshal(text, &h) != nil {
		return nil
	}
	return &h
}
