package transmit

import "os"

// catchHangups returns a channel on which nothing comes: Windows has no signal for it.
func catchHangups() chan os.Signal { return nil }
