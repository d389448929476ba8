package sacntest

import (
	"os"
	"runtime"

	"golang.org/x/sys/unix"
)

// Inside runs do on a thread that stands in a namespace of the pair; the sockets
// that do opens stay there.
func (p *Pair) Inside(ns string, do func() error) error {
	errs := make(chan error, 1)
	go func() {
		runtime.LockOSThread() // and never unlocked: the thread ends with the goroutine
		file, err := os.Open("/run/netns/" + ns)
		if err != nil {
			errs <- err
			return
		}
		defer file.Close()
		if err := unix.Setns(int(file.Fd()), unix.CLONE_NEWNET); err != nil {
			errs <- os.NewSyscallError("setns", err)
			return
		}
		errs <- do()
	}()
	return <-errs
}
