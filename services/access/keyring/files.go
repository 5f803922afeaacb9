package keyring

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strconv"
	"time"

	"hawser/services/access"
)

// accessFile is who may do what, with the tokens as hashes.
func (m *Made) accessFile() []byte {
	var b bytes.Buffer
	b.WriteString("# Who may do what. Looked at every two seconds: what is taken out here can do\n" +
		"# nothing more. A role holds those before it: watch, acknowledge, operate,\n" +
		"# engineer, administer; over site: true, a berth, or a ship where she lies.\npeople:\n")
	for _, t := range m.Tokens {
		over := "site: true"
		if t.Grant.Ship != "" {
			over = "ship: " + strconv.Quote(t.Grant.Ship)
		}
		fmt.Fprintf(&b, "  - name: %q\n    token: %s\n    expires: %s\n    grants: [{role: %s, %s}]\n",
			t.Name, access.HashOf(t.Token), m.Until.Format(time.RFC3339), t.Grant.Role, over)
	}
	b.WriteString("# Certificates of this authority name the berths their device sends for.\ndevices:\n  ca: " + CAFile + "\n")
	return b.Bytes()
}

// settings are those of hawser serve.
func (m *Made) settings(hosts []string) []byte {
	listen := "127.0.0.1"
	if len(hosts) > 0 {
		listen = ""
	}
	path := func(name string) string { return strconv.Quote(filepath.Join(m.Dir, name)) }
	var b bytes.Buffer
	fmt.Fprintf(&b, "http: %q\ngrpc: %q\ntls:\n  cert: %s\n  key: %s\naccess:\n  file: %s\n",
		listen+":7410", listen+":7411", path("server.crt"), path("server.key"), path("access.yaml"))
	return b.Bytes()
}
