package transmit

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"runtime"
	"strings"
	"time"
)

// A proposal is looked for so long, and its program gets twice that to come to its end.
const proposeSeconds = 30

// propose has yardproof plan work out power for the plan's file as it is by now. That is a
// program of its own that comes after all others, on half of the cores: what it takes in
// time and memory, and whatever befalls it, is nothing to the frames.
func (t *Transmitter) propose(ctx context.Context, level float64, loseOne bool, says func(string)) (any, error) {
	plan := t.checked.Load().Again
	if plan == nil {
		return nil, errors.New("this is no plan's whole file, so nothing is proposed for it: use yardproof plan --propose")
	}
	self, err := os.Executable()
	if err != nil {
		return nil, fmt.Errorf("the program to propose with: %w", err)
	}
	args := append([]string{self, "plan", "--propose", "--progress", "--format", "json", "--seconds", fmt.Sprint(proposeSeconds), "--level", fmt.Sprint(100 * level)}, plan...)
	if loseOne {
		args = append(args, "--lose-a-feed")
	}
	if nice, err := exec.LookPath("nice"); err == nil {
		args = append([]string{nice, "-n", "19"}, args...)
	}
	ctx, cancel := context.WithTimeout(ctx, 2*proposeSeconds*time.Second)
	defer cancel()
	said := lastLine{each: says}
	cmd := exec.CommandContext(ctx, args[0], args[1:]...)
	cmd.Env = append(os.Environ(), fmt.Sprintf("GOMAXPROCS=%d", max(1, runtime.GOMAXPROCS(0)/2)))
	cmd.Stderr = &said
	answer, err := cmd.Output()
	switch {
	case ctx.Err() != nil:
		return nil, fmt.Errorf("it did not come to an end: use yardproof plan --propose (%w)", ctx.Err())
	case err != nil:
		return nil, fmt.Errorf("yardproof plan --propose says: %s", strings.TrimPrefix(said.line, "yardproof plan: "))
	case !json.Valid(answer):
		return nil, errors.New("yardproof plan --propose gave no answer that can be read")
	}
	return json.RawMessage(answer), nil
}

// lastLine hands each line on and keeps the last.
type lastLine struct {
	each       func(string)
	rest, line string
}

func (l *lastLine) Write(b []byte) (int, error) {
	l.rest += string(b)
	for {
		line, rest, whole := strings.Cut(l.rest, "\n")
		if !whole {
			return len(b), nil
		}
		l.line, l.rest = line, rest
		l.each(line)
	}
}
