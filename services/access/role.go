package access

import "fmt"

// Role is what somebody may do. Each holds those before it.
type Role uint8

// The roles.
const (
	Nobody      Role = iota
	Watch            // see berths, alarms and history
	Acknowledge      // take alarms on
	Operate          // shelve, send readings by hand and put a berth under another plan
	Engineer         // take a line out of service, look into the server itself
	Administer       // everything there is
)

var roleNames = [...]string{"nobody", "watch", "acknowledge", "operate", "engineer", "administer"}

func (r Role) String() string {
	if int(r) < len(roleNames) {
		return roleNames[r]
	}
	return fmt.Sprintf("role %d", r)
}

// Roles are all roles that can be given, least first.
func Roles() []Role { return []Role{Watch, Acknowledge, Operate, Engineer, Administer} }

// parseRole reads a role's name.
func parseRole(name string) (Role, bool) {
	for _, r := range Roles() {
		if r.String() == name {
			return r, true
		}
	}
	return Nobody, false
}
