package sacntest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"strings"
	"sync/atomic"
	"testing"
	"time"
)

// Pair is two network namespaces joined by a veth pair, with nothing else in
// them: whatever a test sends stays inside. Each end is called "yard0" inside
// its namespace.
type Pair struct {
	Near, Far string // namespace names, for Command
}

// Addresses of the two ends of a [Pair].
const (
	Interface = "yard0"
	NearAddr4 = "10.77.0.1"
	FarAddr4  = "10.77.0.2"
	NearAddr6 = "fd77::1"
	FarAddr6  = "fd77::2"
)

var pairs atomic.Int32

// NewPair makes the namespaces and removes them when the test ends. Both ends
// have a route for 239.255.0.0/16 and ff18::/16.
func NewPair(t testing.TB) *Pair {
	t.Helper()
	NeedRoot(t)
	NeedTool(t, "ip")
	id := fmt.Sprintf("yp%d-%d", os.Getpid(), pairs.Add(1))
	p := &Pair{Near: id + "n", Far: id + "f"}
	for _, ns := range []string{p.Near, p.Far} {
		ip(t, "netns add "+ns)
		t.Cleanup(func() { exec.Command("ip", "netns", "del", ns).Run() })
		ip(t, "-n "+ns+" link set lo up")
	}
	p.Plug(t)
	return p
}

// Plug makes the interfaces and the cable between them. NewPair has done it; it is
// for after [Pair.Unplug]. Each interface then has the index that it had before, as
// one has that comes back from another namespace.
func (p *Pair) Plug(t testing.TB) {
	t.Helper()
	const index = "2" // lo is 1
	ip(t, "-n "+p.Near+" link add "+Interface+" index "+index+" type veth peer name "+Interface+" index "+index+" netns "+p.Far)
	for ns, addrs := range map[string][2]string{p.Near: {NearAddr4 + "/24", NearAddr6 + "/64"}, p.Far: {FarAddr4 + "/24", FarAddr6 + "/64"}} {
		ip(t, "-n "+ns+" addr add "+addrs[0]+" dev "+Interface)
		ip(t, "-n "+ns+" addr add "+addrs[1]+" dev "+Interface+" nodad")
		ip(t, "-n "+ns+" link set "+Interface+" up")
		ip(t, "-n "+ns+" route add 239.255.0.0/16 dev "+Interface)
	}
	// What is sent before the kernel has noticed the carrier at both ends is lost.
	for _, ns := range []string{p.Near, p.Far} {
		Eventually(t, 20*time.Second, Interface+" up in "+ns, func() bool {
			return strings.Contains(ip(t, "-n "+ns+" link show "+Interface), "state UP")
		})
	}
}

// Unplug deletes both interfaces.
func (p *Pair) Unplug(t testing.TB) {
	t.Helper()
	ip(t, "-n "+p.Near+" link del "+Interface)
}

// ip runs iproute2 and returns what it printed.
func ip(t testing.TB, args string) string {
	t.Helper()
	return Output(t, exec.Command("ip", strings.Fields(args)...))
}

// Run runs a line of words in a namespace of the pair to its good end, and returns what the
// program printed and said.
func (p *Pair) Run(t testing.TB, ns, line string) string {
	t.Helper()
	words := strings.Fields(line)
	return Output(t, p.Command(context.Background(), ns, words[0], words[1:]...))
}

// Command prepares a program to run inside a namespace of the pair.
func (p *Pair) Command(ctx context.Context, ns, name string, args ...string) *exec.Cmd {
	return exec.CommandContext(ctx, "ip", append([]string{"netns", "exec", ns, name}, args...)...)
}
