// Package guide is what the program says about itself: the help of a command,
// the manual page and the completions of three shells. All of it is made from
// the commands' own flags, so that none of it can go stale. It refuses to know
// what a command does.
package guide

import (
	"strings"

	"github.com/spf13/pflag"
)

// Command is what the guide knows of one command.
type Command struct {
	Name  string
	Args  string // what follows the flags in the usage line
	Does  string // one line, without a full stop
	Flags *pflag.FlagSet
}

// flags returns the flags that are shown, in the order of their definition.
func (c Command) flags() []*pflag.Flag {
	var list []*pflag.Flag
	c.Flags.VisitAll(func(f *pflag.Flag) {
		if !f.Hidden {
			list = append(list, f)
		}
	})
	return list
}

// takesPlan reports whether a plan is expected after the flags.
func (c Command) takesPlan() bool { return strings.Contains(c.Args, "PLAN") }

// takesValue reports whether the flag is followed by one.
func takesValue(f *pflag.Flag) bool { return f.NoOptDefVal == "" }

// many reports whether the flag may be given more than once.
func many(f *pflag.Flag) bool {
	return strings.HasSuffix(f.Value.Type(), "Array") || strings.HasSuffix(f.Value.Type(), "Slice")
}

// valueName is what stands for a flag's value, and the usage without its marks.
// A usage names its value between back quotes, as pflag has it.
func valueName(f *pflag.Flag) (name, usage string) {
	named := strings.Contains(f.Usage, "`")
	name, usage = pflag.UnquoteUsage(f)
	switch {
	case !takesValue(f):
		return "", usage
	case named:
		if !strings.ContainsAny(name, "=.") { // else it is an example
			name = strings.ToUpper(name)
		}
		return name, usage
	}
	switch f.Value.Type() {
	case "duration":
		return "TIME", usage
	case "string", "stringArray", "stringSlice":
		return "TEXT", usage
	}
	return "N", usage
}

// Offer is what may follow a flag.
type Offer int

// What may follow a flag.
const (
	Nothing Offer = iota
	Files
	Patterns
	Strings     // of the plan on the command line
	Controllers // of the plan on the command line
	Interfaces
)

// offers says what a shell offers after a flag.
func offers(f *pflag.Flag) Offer {
	switch f.Name {
	case "pattern", "picture":
		return Patterns
	case "string", "dark":
		return Strings
	case "controller", "only-controllers", "sheet":
		return Controllers
	case "interface", "watch":
		return Interfaces
	case "plan", "from-csv", "state":
		return Files
	}
	return Nothing
}
