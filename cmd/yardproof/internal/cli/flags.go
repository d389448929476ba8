package cli

import (
	"fmt"

	"github.com/spf13/pflag"
)

// RenamedError is a flag by its old name.
type RenamedError struct{ Old, New string }

func (e *RenamedError) Error() string { return fmt.Sprintf("--%s is now --%s", e.Old, e.New) }

// Renamed makes the old name of a flag an error that names the new one: parsing
// returns it inside its own ([errors.As] finds it). The old name is in no help.
func Renamed(fs *pflag.FlagSet, from, to string) {
	f := fs.VarPF(&renamed{RenamedError{from, to}}, from, "", "")
	f.Hidden = true
	f.NoOptDefVal = "true" // with a value or without: the name is at fault
}

type renamed struct{ err RenamedError }

func (r *renamed) Set(string) error { return &r.err }
func (r *renamed) String() string   { return "" }
func (r *renamed) Type() string     { return "renamed" }
