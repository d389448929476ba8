package opening

import (
	"encoding/json"
	"os"
	"path/filepath"
)

// EndedFile is where a transmitter leaves, in its state directory, how it let go. It
// takes it away when it begins: a program that was killed leaves none.
const EndedFile = "ended.json"

// ReadEnded returns how the transmitter of a state directory last let go; nil when that
// is not known.
func ReadEnded(dir string) *Ended {
	text, err := os.ReadFile(filepath.Join(dir, EndedFile))
	if err != nil {
		return nil
	}
	var e Ended
	if json.Unmarshal(text, &e) != nil || e.Time.IsZero() || len(e.Says) > 1000 {
		return nil
	}
	return &e
}
