package cli

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/spf13/pflag"
)

func TestPrint(t *testing.T) {
	hint := Hint(Usagef("no interface was named"), "give --%s", "interface")
	for _, tt := range []struct {
		err  error
		want string
	}{
		{errors.New("broken; very"), "yardproof run: broken; very\n"},
		{hint, "yardproof run: no interface was named\n  what to do: give --interface\n"},
		{fmt.Errorf("sending: %w", hint), "yardproof run: sending: no interface was named\n  what to do: give --interface\n"},
	} {
		var b strings.Builder
		Print(&b, "yardproof run", tt.err)
		if b.String() != tt.want {
			t.Errorf("%q, want %q", b.String(), tt.want)
		}
	}
	if _, ok := errors.AsType[UsageError](hint); !ok || hint.Error() != "no interface was named; give --interface" {
		t.Errorf("%v", hint)
	}
}

// The old name is an error with a value, without one, and before an argument.
func TestRenamed(t *testing.T) {
	for _, args := range []string{"--no-look", "--no-look=false", "--no-look plan.yaml"} {
		fs := pflag.NewFlagSet("run", pflag.ContinueOnError)
		fs.SetOutput(io.Discard)
		Renamed(fs, "no-look", "no-scan")
		err := fs.Parse(strings.Fields(args))
		if e, ok := errors.AsType[*RenamedError](err); !ok || e.Error() != "--no-look is now --no-scan" {
			t.Errorf("%s: %v", args, err)
		}
		if fs.HasAvailableFlags() {
			t.Error("help shows it")
		}
	}
}
