// Package cli is how a room of the program tells the command line what became of
// a call: it was wrong as written, or the answer is printed and is not a good one.
// It refuses to know any command.
package cli

import (
	"errors"
	"fmt"
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
