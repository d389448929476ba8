package sacntest

import (
	"flag"
	"fmt"
	"os"
	"testing"
)

// together is how many tests that wait run at once.
const together = 8

// Run runs the tests of a package that wait more than they work. The testing
// package takes one parallel test for each core; here it takes more, unless
// -parallel says how many.
func Run(m *testing.M) int {
	flag.Parse()
	asked := false
	flag.Visit(func(f *flag.Flag) { asked = asked || f.Name == "test.parallel" })
	if !asked {
		if err := flag.Set("test.parallel", fmt.Sprint(together)); err != nil {
			fmt.Fprintln(os.Stderr, err)
			return 1
		}
	}
	return m.Run()
}
