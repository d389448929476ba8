// Package cli is how a room of the program tells the command line what became of
// a call: it was wrong as written, or the answer is printed and is not a good one;
// and what to do about it. It refuses to know any command.
package cli

import (
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
)

// ErrFound means that the answer has been printed, and that it is not a good one.
var ErrFound = errors.New("something was found wrong")

// UsageError is a call that cannot be obeyed as it was written.
type UsageError struct{ error }

// Unwrap returns what is wrong with the call.
func (e UsageError) Unwrap() error { return e.error }

// Usage returns err as a [UsageError].
func Usage(err error) error { return UsageError{err} }

// Usagef returns a [UsageError] with a text.
func Usagef(format string, args ...any) error { return UsageError{fmt.Errorf(format, args...)} }

// Format returns an error when a --format is none of those there are.
func Format(format string, there ...string) error {
	if slices.Contains(there, format) {
		return nil
	}
	last := len(there) - 1
	return Usagef("--format %q is not %s or %s", format, strings.Join(there[:last], ", "), there[last])
}

// hinted is an error with what to do about it.
type hinted struct {
	error
	do string
}

func (e *hinted) Unwrap() error { return e.error }
func (e *hinted) Error() string { return e.error.Error() + "; " + e.do }

// Hint adds to an error what to do about it. In a log both are one sentence.
func Hint(err error, format string, args ...any) error {
	return &hinted{err, fmt.Sprintf(format, args...)}
}

// Print writes an error for a person: what is wrong, and on a line of its own
// what to do.
func Print(w io.Writer, who string, err error) {
	text, do := err.Error(), ""
	if h, ok := errors.AsType[*hinted](err); ok {
		do = h.do
		text = strings.TrimSuffix(text, "; "+do)
	}
	fmt.Fprintf(w, "%s: %s\n", who, text)
	if do != "" {
		fmt.Fprintf(w, "  what to do: %s\n", do)
	}
}
