package source

import (
	"errors"
	"net"
	"os"
	"strings"
	"syscall"
)

// refusal says what it means that the system did not take a packet, or that the other
// end did not, and what to do.
func refusal(errno syscall.Errno) string {
	switch errno {
	case 0:
		return "the system gave no reason"
	case syscall.EPERM, syscall.EACCES:
		return "a firewall on this computer stops it; let UDP port 5568 out"
	case syscall.EHOSTUNREACH:
		return "nobody answers there; check the controller's power, its cable and the address in the plan"
	case syscall.ECONNREFUSED:
		return "the device there does not take E1.31; switch that on, or correct the address in the plan"
	case syscall.EAGAIN, syscall.ENOBUFS, syscall.ENOMEM:
		return "more than the interface could take; check its speed, or send less from this computer"
	}
	return plainly(errno)
}

// plainly says what an error number means for whoever runs this, and what to do. It is
// the system's own word where nothing better is known.
func plainly(errno syscall.Errno) string {
	switch errno {
	case syscall.EPERM, syscall.EACCES:
		return "this program is not allowed to"
	case syscall.ENETUNREACH, syscall.EHOSTUNREACH:
		return "this computer knows no way there; give its interface an address in the controllers' network"
	case syscall.ENETDOWN:
		return "the interface is down; plug its cable in and switch it on"
	case syscall.ENODEV, syscall.ENXIO:
		return "the interface is gone; plug it in again"
	case syscall.EADDRNOTAVAIL:
		return "this computer has no such address; check the address of its interface"
	case syscall.EADDRINUSE:
		return "another program uses it; stop that one"
	case syscall.EMSGSIZE:
		return "the packet is too long for this interface; set its MTU to 1500"
	case syscall.ENOBUFS, syscall.ENOMEM:
		return "the system has no memory left for it; stop other programs"
	}
	return "the system says: " + errno.Error()
}

// Explain returns an error of the network whose text has plain words, and what to do, in
// place of the system's own. It wraps err; an error without a number is returned as it is.
func Explain(err error) error {
	errno, ok := errors.AsType[syscall.Errno](err)
	if !ok {
		return err
	}
	inner := errno.Error()
	if call, ok := errors.AsType[*os.SyscallError](err); ok {
		inner = call.Error()
	}
	if op, ok := errors.AsType[*net.OpError](err); ok {
		inner = op.Error()
	}
	return &explained{err, strings.Replace(err.Error(), inner, plainly(errno), 1)}
}

type explained struct {
	error
	text string
}

func (e *explained) Error() string { return e.text }
func (e *explained) Unwrap() error { return e.error }
