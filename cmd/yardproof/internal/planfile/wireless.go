package planfile

import (
	"os"
	"path/filepath"
	"strings"

	"yardproof/config"
)

// Wireless reports whether an interface is wireless: as the kernel says, or by its
// name (systemd.net-naming-scheme(7)) where there is no such interface here or the
// system does not say.
func Wireless(name string) bool {
	if name == "" || name != filepath.Base(name) {
		return false
	}
	dir := filepath.Join("/sys/class/net", name)
	for _, mark := range []string{"wireless", "phy80211"} {
		if _, err := os.Stat(filepath.Join(dir, mark)); err == nil {
			return true
		}
	}
	_, err := os.Stat(dir)
	return err != nil && strings.HasPrefix(name, "wl")
}

// wirelessProblem warns of a plan that sends over Wi-Fi.
func wirelessProblem(plan *config.Plan) []config.Problem {
	name := plan.Network.Interface
	if !Wireless(name) {
		return nil
	}
	return []config.Problem{{
		Severity: config.Warning, Where: plan.Where(plan.Network.At("interface")),
		What: "interface " + name + " is wireless: multicast there is neither acknowledged nor sent fast (RFC 9119)", Fix: "use a cable",
	}}
}
