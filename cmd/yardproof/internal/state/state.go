// Package state is the state directory: what must be the same after a restart.
// It locks the directory, keeps the CID and the sequence count, and writes files
// so that a power cut leaves the old content or the new. It refuses to know what
// other packages keep in it.
package state

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"

	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/sacn"
)

// ErrInUse means that another transmitter holds the directory. Two with one CID
// would interleave two sequence counts, which receivers take for loss.
var ErrInUse = errors.New("in use by another yardproof; stop that one, or give each its own --state")

// Dir is an open, locked state directory; or, where the disk is full, read-only or
// broken, one that keeps nothing, since that is no reason not to send.
type Dir struct {
	path    string
	lock    *os.File
	problem error     // why nothing is kept; nil: what is written is kept
	cid     *sacn.CID // once it was asked for
}

// Open makes the directory if it is missing and locks it until Close.
func Open(path string) (*Dir, error) {
	err := os.MkdirAll(path, 0o700)
	var lock *os.File
	if err == nil {
		lock, err = os.OpenFile(filepath.Join(path, "lock"), os.O_RDWR|os.O_CREATE, 0o600)
	}
	if durable.NoDisk(err) {
		return &Dir{path: path, problem: err}, nil
	}
	if err != nil {
		return nil, fmt.Errorf("state directory: %w; name another with --state", err)
	}
	if err := durable.Lock(lock); err != nil {
		lock.Close()
		if errors.Is(err, durable.ErrLocked) {
			err = ErrInUse
		}
		return nil, fmt.Errorf("state directory %s: %w", path, err)
	}
	return &Dir{path: path, lock: lock}, nil
}

// Problem returns why the directory keeps nothing; nil when it does.
func (d *Dir) Problem() error { return d.problem }

// Close gives up the lock.
func (d *Dir) Close() error {
	if d.lock == nil {
		return nil
	}
	return d.lock.Close()
}

// Path returns where a file of the directory is.
func (d *Dir) Path(name string) string { return filepath.Join(d.path, name) }

// CID returns the transmitter's component identifier, made at the first call and
// the same ever after (E1.31 clause 5.6). A directory that keeps nothing has a new
// one each time it is opened: the sequence count of the old one is not known.
func (d *Dir) CID() (cid sacn.CID, err error) {
	if d.cid != nil {
		return *d.cid, nil
	}
	if d.problem == nil {
		if cid, err = d.keptCID(); durable.NoDisk(err) {
			d.problem = err
		} else if err != nil {
			return cid, err
		}
	}
	if d.problem != nil {
		cid = sacn.NewCID()
	}
	d.cid = &cid
	return cid, nil
}

func (d *Dir) keptCID() (sacn.CID, error) {
	text, err := os.ReadFile(d.Path("cid"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		cid := sacn.NewCID()
		return cid, d.Write("cid", []byte(cid.String()+"\n"))
	case err != nil:
		return sacn.CID{}, fmt.Errorf("state directory: %w", err)
	}
	cid, err := sacn.ParseCID(strings.TrimSpace(string(text)))
	if err != nil {
		return cid, fmt.Errorf("%s: %w; delete the file to be given a new one", d.Path("cid"), err)
	}
	return cid, nil
}

// sequenceLead is how far a restarted transmitter jumps ahead of the count it
// kept. Receivers discard up to 19 packets that seem to come from the past
// (6.7.2), and the count kept is up to [FramesBetweenSaves] old, a little more
// when a save is late. A lead above 127 would itself seem to be the past.
const sequenceLead = 127

// FramesBetweenSaves is the most frames to send between two saves of the number.
const FramesBetweenSaves = 100

// FirstSequence returns the sequence number to begin with.
func (d *Dir) FirstSequence() uint8 {
	text, err := os.ReadFile(d.Path("sequence"))
	if err != nil {
		return 0
	}
	n, err := strconv.ParseUint(strings.TrimSpace(string(text)), 10, 8)
	if err != nil {
		return 0
	}
	return uint8(n) + sequenceLead
}

// SaveSequence keeps the last sequence number sent; call it
// once a second, and every [FramesBetweenSaves] at a high rate. It
// survives a killed program; after a power cut it may be old, and then a
// receiver that has heard nothing for 2.5 s has forgotten the old count too.
func (d *Dir) SaveSequence(n uint8) error {
	if d.problem != nil {
		return nil // it belongs to a CID that nobody meets again
	}
	f, err := os.OpenFile(d.Path("sequence"), os.O_WRONLY|os.O_CREATE, 0o600)
	if err != nil {
		return err
	}
	// In place and of one length, so that a kill finds a whole number: a new file
	// each second would wear flash.
	_, err = fmt.Fprintf(f, "%03d", n)
	return errors.Join(err, f.Close())
}

// Write replaces a file as a whole, flushed to disk before it returns.
func (d *Dir) Write(name string, data []byte) error {
	if d.problem != nil {
		return fmt.Errorf("state directory: %s: %w", name, d.problem)
	}
	if err := durable.Replace(d.Path(name), data, 0o600); err != nil {
		return fmt.Errorf("state directory: %s: %w", name, err)
	}
	return nil
}
