package access

import (
	"net/http"
	"strings"

	"google.golang.org/protobuf/proto"

	hawserv1 "hawser/proto/hawser/v1"
)

// rule is what a call needs and where it says what it is about. What has no rule
// is refused, and a server with such a method or route does not start.
type rule struct {
	// open lets in whoever asks, unasked who they are.
	open bool
	// role is the least a person needs.
	role Role
	// device lets a device in, for the berths of its certificate.
	device bool
	// page sends those who have not signed in to where they can.
	page bool
	// bytes bounds what is sent in one message or body; 0 is 64 KiB.
	bytes int

	// message and request find what the call is about; nil is nothing in
	// particular.
	message func(proto.Message) (about, error)
	request func(*http.Request) (about, error)
}

// most is how many bytes may be sent in one message or body.
func (r rule) most() int {
	if r.bytes > 0 {
		return r.bytes
	}
	return smallBytes
}

// about is what a call is about. The zero value is whatever the caller may see:
// the service leaves the rest out of its answer.
type about struct {
	berth string
	alarm string // id
	site  bool   // the whole site
	// role, if above the rule's, is what this call needs of a person; no device
	// will do then.
	role Role
}

const (
	smallBytes = 64 << 10
	formBytes  = 16 << 10
	planBytes  = 256<<10 + 1 // one over a plan's most, so that its reader can say so
	batchBytes = 2 << 20
)

// rules is the one table of who may do what, by the full method of an RPC and by
// the pattern of a route.
func rules() map[string]rule {
	return map[string]rule{
		"/hawser.v1.AlarmService/ListAlarms":       {role: Watch, message: berthNamed},
		"/hawser.v1.AlarmService/WatchAlarms":      {role: Watch, message: berthNamed},
		"/hawser.v1.AlarmService/AcknowledgeAlarm": {role: Acknowledge, message: alarmNamed},
		"/hawser.v1.AlarmService/NoteAlarm":        {role: Acknowledge, message: alarmNamed},
		"/hawser.v1.AlarmService/ResetAlarm":       {role: Operate, message: alarmNamed},
		"/hawser.v1.AlarmService/ShelveAlarm":      {role: Operate, message: alarmNamed},
		"/hawser.v1.AlarmService/TakeOutOfService": {role: Engineer, message: berthHeld},
		"/hawser.v1.AlarmService/EndHold":          {role: Operate, message: berthHeld},
		"/hawser.v1.LiveService/ListBerths":        {role: Watch, message: berthNamed},
		"/hawser.v1.LiveService/WatchBerths":       {role: Watch, message: berthNamed},
		"/hawser.v1.AssessService/Assess":          {role: Watch, message: berthNamed},
		"/hawser.v1.AssessService/ListLosses":      {role: Watch, message: berthNamed},
		"/hawser.v1.HistoryService/QueryHistory":   {role: Watch, message: berthNamed},
		"/hawser.v1.LineService/ListLines":         {role: Watch, message: berthNamed},
		"/hawser.v1.LineService/RecordRope":        {role: Operate, message: berthNamed},
		"/hawser.v1.IntakeService/Deliver":         {role: Operate, device: true, message: berthOfHello, bytes: batchBytes},

		// Whether the server is well says nothing about anybody's ship.
		"/grpc.health.v1.Health/Check":                                   {open: true},
		"/grpc.health.v1.Health/List":                                    {open: true},
		"/grpc.health.v1.Health/Watch":                                   {open: true},
		"/grpc.reflection.v1.ServerReflection/ServerReflectionInfo":      {role: Engineer},
		"/grpc.reflection.v1alpha.ServerReflection/ServerReflectionInfo": {role: Engineer},

		"GET /{$}":           {role: Watch, request: berthAsked, page: true},
		"GET /deck":          {role: Watch, request: berthAsked, page: true},
		"GET /live":          {role: Watch, request: berthAsked},
		"GET /engineer":      {role: Watch, page: true},
		"GET /log":           {role: Watch, request: berthAsked, page: true},
		"GET /lines":         {role: Watch, request: berthAsked, page: true},
		"GET /api/alarms":    {role: Watch, request: berthNeeded},
		"GET /api/spectrum":  {role: Watch, request: berthNeeded},
		"GET /api/berths":    {role: Watch, request: berthAsked},
		"GET /api/export":    {role: Watch, request: berthAsked},
		"GET /api/history":   {role: Watch, request: berthAsked},
		"GET /berth/{berth}": {role: Watch, request: berthOfPath, page: true},
		"GET /plan/{berth}":  {role: Watch, request: berthOfPath, page: true},
		"GET /api/assess":    {role: Watch, request: berthNeeded},
		"GET /api/losses":    {role: Watch, request: berthAsked},
		"GET /api/lines":     {role: Watch, request: berthAsked},

		"GET /api/plan":          {role: Watch, request: berthNeeded},
		"GET /api/plan/text":     {role: Watch, request: berthNeeded},
		"GET /api/plan/versions": {role: Watch, request: berthNeeded},
		"POST /api/plan/assess":  {role: Watch, bytes: planBytes}, // of whatever plan is sent
		"POST /api/plan/check":   {role: Watch, request: berthAsked, bytes: planBytes},
		// Another plan may put another ship at the berth and so open it to her crew.
		"PUT /api/plan": {role: Operate, request: berthNeeded, bytes: planBytes},

		// Prometheus's query API: what the caller does not see is left out of the answer.
		"GET /api/v1/query":               {role: Watch},
		"POST /api/v1/query":              {role: Watch, bytes: formBytes},
		"GET /api/v1/query_range":         {role: Watch},
		"POST /api/v1/query_range":        {role: Watch, bytes: formBytes},
		"GET /api/v1/series":              {role: Watch},
		"POST /api/v1/series":             {role: Watch, bytes: formBytes},
		"GET /api/v1/labels":              {role: Watch},
		"POST /api/v1/labels":             {role: Watch, bytes: formBytes},
		"GET /api/v1/label/{name}/values": {role: Watch},
		"GET /api/v1/metadata":            {role: Watch},
		"GET /api/v1/status/buildinfo":    {role: Watch},

		// A ship's own stays are hers wherever she lies now: the service leaves out the rest.
		"GET /api/stays": {role: Watch},
		"GET /report":    {role: Watch, page: true},

		// All there is, of every berth and ship.
		"GET /api/backup": {role: Administer, request: wholeSite},

		// The figures of every berth are among them.
		"GET /performance":     {role: Watch, request: wholeSite, page: true},
		"GET /metrics":         {role: Watch, request: wholeSite},
		"POST /acknowledge":    {role: Acknowledge, request: alarmOfForm, bytes: formBytes},
		"POST /note":           {role: Acknowledge, request: alarmOfForm, bytes: formBytes},
		"POST /reset":          {role: Operate, request: alarmOfForm, bytes: formBytes},
		"POST /shelve":         {role: Operate, request: alarmOfForm, bytes: formBytes},
		"POST /out-of-service": {role: Engineer, request: placeOfForm, bytes: formBytes},
		"POST /end-hold":       {role: Operate, request: placeOfForm, bytes: formBytes},

		"GET /healthz":         {open: true},
		"GET /readyz":          {open: true},
		"GET /sign-in":         {open: true},
		"POST /sign-in":        {open: true, bytes: formBytes},
		"POST /sign-out":       {open: true},
		"GET /assets/icon.svg": {open: true},

		// What a device needs to keep a page: nothing about any berth but the name asked with.
		"GET /manifest":              {open: true},
		"GET /assets/icon-192.png":   {open: true},
		"GET /assets/icon-512.png":   {open: true},
		"GET /assets/deck-worker.js": {open: true},
	}
}

func berthNamed(m proto.Message) (about, error) {
	named, ok := m.(interface{ GetBerth() string })
	if !ok {
		return about{}, refuse(unfit, "%T names no berth", m)
	}
	return about{berth: named.GetBerth()}, nil
}

// berthHeld finds the berth where something is kept quiet; without one it is the
// server's own, which is the site's.
func berthHeld(m proto.Message) (about, error) {
	a, err := berthNamed(m)
	a.site = a.berth == ""
	return a, err
}

func alarmNamed(m proto.Message) (about, error) {
	named, ok := m.(interface{ GetAlarmId() string })
	if !ok || named.GetAlarmId() == "" {
		return about{}, refuse(unfit, "the request names no alarm")
	}
	return about{alarm: named.GetAlarmId()}, nil
}

// berthOfHello finds the berth of a stream in its first frame. Another plan may
// put another ship at the berth and so open it to her crew: that takes a person.
func berthOfHello(m proto.Message) (about, error) {
	frame, ok := m.(*hawserv1.DeliverRequest)
	if !ok || frame.GetHello().GetBerth() == "" {
		return about{}, refuse(unfit, "the first frame must be a hello that names a berth")
	}
	a := about{berth: frame.GetHello().GetBerth()}
	if frame.GetHello().GetReplacePlan() {
		a.role = Operate
	}
	return a, nil
}

func berthAsked(r *http.Request) (about, error) {
	return about{berth: r.URL.Query().Get("berth")}, nil
}

// berthNeeded is berthAsked for what is about one berth only.
func berthNeeded(r *http.Request) (about, error) {
	a, err := berthAsked(r)
	if err == nil && a.berth == "" {
		err = refuse(unfit, "the request names no berth")
	}
	return a, err
}

func berthOfPath(r *http.Request) (about, error) {
	return about{berth: r.PathValue("berth")}, nil
}

func wholeSite(*http.Request) (about, error) { return about{site: true}, nil }

func alarmOfForm(r *http.Request) (about, error) {
	if err := r.ParseForm(); err != nil {
		return about{}, refuse(unfit, "the form could not be read: %v", err)
	}
	id := r.PostForm.Get("id")
	if id == "" {
		return about{}, refuse(unfit, "the form names no alarm")
	}
	return about{alarm: id}, nil
}

// placeOfForm finds the berth of a place, berth/condition/line/group; without one
// it is the server's own, which is the site's.
func placeOfForm(r *http.Request) (about, error) {
	if err := r.ParseForm(); err != nil {
		return about{}, refuse(unfit, "the form could not be read: %v", err)
	}
	berth, _, ok := strings.Cut(r.PostForm.Get("place"), "/")
	if !ok {
		return about{}, refuse(unfit, "the form names no place")
	}
	return about{berth: berth, site: berth == ""}, nil
}
