//go:build !linux

package sacntest

import "errors"

// Inside needs Linux: [NewPair] has ended the test before.
func (p *Pair) Inside(string, func() error) error { return errors.ErrUnsupported }
