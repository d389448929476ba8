package burnin

import (
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"time"

	"yardproof/cmd/yardproof/internal/record"
	"yardproof/cmd/yardproof/internal/state"
	"yardproof/cmd/yardproof/internal/textout"
	"yardproof/config"
)

// file is the progress in the state directory.
const file = "burn-in.json"

// Progress is what a burn-in has come to. It is kept on disk, and survives
// whatever ends the program.
type Progress struct {
	Plan      string    `json:"plan"`
	Programme string    `json:"programme"` // when it changes, the cycle begins anew; hours served stay
	Started   time.Time `json:"started"`
	Finished  time.Time `json:"finished,omitzero"`

	Position Seconds           `json:"cycle_position_seconds"`
	Cycles   int               `json:"cycles"`
	Strings  map[string]Served `json:"strings"`

	Universes []Universe `json:"universes,omitempty"` // of the chosen strings

	Frames        uint64  `json:"frames"`
	Skipped       uint64  `json:"frames_skipped"`
	Withheld      uint64  `json:"frames_withheld"`
	Refused       uint64  `json:"packets_refused"`        // of the chosen strings
	WorstLateness Seconds `json:"worst_lateness_seconds"` // no frame was later than this
	Expected      uint64  `json:"packets_expected"`       // by the listener; 0: nothing was observed
	Lost          uint64  `json:"packets_lost"`
	Starts        int     `json:"starts"` // of the program

	Looks    int       `json:"looks"` // that somebody took; hours prove transmission, not light
	LastLook time.Time `json:"last_look,omitzero"`

	Owed []record.Line `json:"owed,omitempty"` // to the record; the end of a burn-in, until it is there
}

// anew is a burn-in that begins after this one. What is owed stays owed.
func (p *Progress) anew(plan string) *Progress {
	return &Progress{Plan: plan, Started: time.Now(), Owed: p.Owed}
}

// Served is what one string has been through.
type Served struct {
	Label   string  `json:"label,omitempty"` // the physical string; another one begins at 0
	Address string  `json:"address"`         // where on the wire; at another one it begins at 0
	Served  Seconds `json:"served_seconds"`  // sent; where it is measured, arrived

	Measured Seconds `json:"measured_seconds"` // of Served: arrived at the far end
	Refused  uint64  `json:"packets_refused"`  // by the kernel or the controller
}

// Evidence says what the hours of a string rest on.
func (s Served) Evidence() string {
	text := "sent, not measured"
	switch {
	case s.Served > 0 && s.Measured >= s.Served:
		text = "arrived at the far end"
	case s.Measured > 0:
		text = fmt.Sprintf("%s of it arrived at the far end, the rest was sent and not measured", short(time.Duration(s.Measured)))
	}
	if s.Refused > 0 {
		text += fmt.Sprintf("; %d packets were refused", s.Refused)
	}
	return text
}

// Seconds is a duration that is written as a number of seconds.
type Seconds time.Duration

// MarshalJSON implements [json.Marshaler].
func (s Seconds) MarshalJSON() ([]byte, error) { return json.Marshal(time.Duration(s).Seconds()) }

// UnmarshalJSON implements [json.Unmarshaler].
func (s *Seconds) UnmarshalJSON(b []byte) error {
	var f float64
	if err := json.Unmarshal(b, &f); err != nil {
		return err
	}
	if f < 0 || f > 1e9 {
		return fmt.Errorf("%v seconds cannot be", f)
	}
	*s = Seconds(f * float64(time.Second))
	return nil
}

// Summary says in one line how it went.
func (p *Progress) Summary() string {
	loss := "loss not measured"
	if p.Expected > 0 {
		loss = fmt.Sprintf("%.3f %% of %d packets lost", 100*float64(p.Lost)/float64(p.Expected), p.Expected)
	}
	return fmt.Sprintf("%s, %s sent, %d skipped, %d withheld, %s refused, none later than %v, %s, %s, %s, %s",
		textout.Count(p.Cycles, "cycle"), textout.Count(int(p.Frames), "frame"), p.Skipped, p.Withheld, textout.Count(int(p.Refused), "packet"), time.Duration(p.WorstLateness), loss, p.outages(), textout.Count(p.Starts, "start"), textout.Count(p.Looks, "look"))
}

// Kept returns the progress that a burn-in of a plan kept in a directory, as it was
// last written, with the strings that are still the same and the looks that were left
// since; the zero one when there is none that can be read.
func Kept(dir string, plan *config.Plan) (p Progress) {
	text, err := os.ReadFile(filepath.Join(dir, file))
	if err != nil || json.Unmarshal(text, &p) != nil || p.Started.IsZero() || !p.isOf(plan) {
		return Progress{}
	}
	maps.DeleteFunc(p.Strings, func(name string, s Served) bool { return !s.isOf(plan.Find(name)) })
	files, _ := inspectionFiles(dir)
	for _, file := range files {
		l, err := readInspection(file)
		if err != nil {
			continue // the burn-in says so when it takes them up
		}
		p.Looks++
		if l.Time.After(p.LastLook) {
			p.LastLook = l.Time
		}
	}
	return p
}

// readProgress returns the progress kept in a directory; nil when there is none.
// A file that cannot be read is moved aside, since whoever watches from indoors
// is better served by a burn-in that begins anew than by none.
func readProgress(dir *state.Dir) (*Progress, error) {
	text, err := os.ReadFile(dir.Path(file))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, fmt.Errorf("burn-in progress: %w", err)
	}
	var p Progress
	err = json.Unmarshal(text, &p)
	if err == nil && p.Started.IsZero() { // null, or another program's file
		err = errors.New("it says nothing of a burn-in")
	}
	if err != nil {
		aside := dir.Path(file + ".unreadable")
		return nil, errors.Join(fmt.Errorf("burn-in progress: %s: %w; it was moved to %s, and the burn-in begins anew", dir.Path(file), err, aside),
			os.Rename(dir.Path(file), aside))
	}
	return &p, nil
}

// clone returns a copy that does not change with the original.
func (p *Progress) clone() Progress {
	c := *p
	c.Strings, c.Universes, c.Owed = maps.Clone(p.Strings), slices.Clone(p.Universes), slices.Clone(p.Owed)
	return c
}

func (p *Progress) write(dir *state.Dir) error {
	text, err := json.MarshalIndent(p, "", "  ")
	if err != nil {
		return err
	}
	return dir.Write(file, append(text, '\n'))
}
