package planfile

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"syscall"

	"yardproof/cmd/yardproof/internal/cli"
	"yardproof/cmd/yardproof/internal/durable"
	"yardproof/config"
)

// Source is a plan's text as it stands.
type Source struct {
	File string
	Text []byte

	again []string
}

const most = 17 << 20 // octets; a longer text is refused when it is loaded

// Find returns the plan that a command line names: the built-in one, that on standard
// input (-), or a file's. It is a [cli.UsageError] when the name is at fault.
func Find(demo bool, args []string) (Source, error) {
	switch {
	case demo && len(args) > 0:
		return Source{}, cli.Usagef("give one of: a plan, --demo")
	case demo:
		return builtIn(), nil
	case len(args) == 0:
		return Source{}, cli.Usagef("name one plan file, or give --demo")
	case len(args) > 1:
		return Source{}, cli.Usagef("unexpected argument %q", args[1])
	case args[0] == "-":
		text, err := io.ReadAll(io.LimitReader(os.Stdin, most))
		return Source{File: "standard input", Text: text}, err
	}
	return open(args[0])
}

func builtIn() Source {
	return Source{File: "demo.yaml", Text: []byte(config.DemoText()), again: []string{"--demo"}}
}

func open(path string) (Source, error) {
	if path == "" {
		return Source{}, cli.Usagef("the plan's name is empty")
	}
	f, err := os.OpenFile(path, os.O_RDONLY|syscall.O_NONBLOCK, 0) // a pipe that nobody writes to must not hold us up
	if errors.Is(err, fs.ErrNotExist) {
		return Source{}, cli.Usagef("there is no plan %s; check the name, or try: yardproof run --demo", path)
	}
	if err != nil {
		return Source{}, fmt.Errorf("plan: %w", err)
	}
	defer f.Close()
	if info, err := f.Stat(); err == nil && info.IsDir() {
		return Source{}, cli.Usagef("plan %s is a directory; name the file in it", path)
	}
	text, err := io.ReadAll(io.LimitReader(f, most))
	if err != nil {
		return Source{}, fmt.Errorf("plan: %w", err)
	}
	return Source{File: path, Text: text, again: []string{path}}, nil
}

// Check checks the plan.
func (s Source) Check() Checked {
	c := Check(config.Load(s.File, bytes.NewReader(s.Text)))
	c.Again = s.again
	return c
}

// Replace puts a changed text in the place of the plan's file, if that is still as it was
// read.
func (s Source) Replace(text []byte) error {
	info, err := os.Stat(s.File)
	if err != nil {
		return fmt.Errorf("writing the plan: %w", err)
	}
	if now, err := os.ReadFile(s.File); err != nil || !bytes.Equal(now, s.Text) {
		return errors.New("the plan was changed by somebody meanwhile: nothing is written; propose anew")
	}
	if err := durable.Replace(s.File, text, info.Mode().Perm()); err != nil {
		return fmt.Errorf("writing the plan: %w", err)
	}
	return nil
}
