package main

import "io"

func (v *planView) profile(w io.Writer, name, format string) error {
	return usagef("--profile is not there yet")
}
