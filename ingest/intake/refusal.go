package intake

import (
	"fmt"

	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"
	"google.golang.org/protobuf/protoadapt"

	"hawser/ingest/batch"
	hawserv1 "hawser/proto/hawser/v1"
)

// The reasons of refusals and of streams ended, beside the batch package's own.
const (
	reasonBadHello   = "BAD_HELLO"
	reasonNoPlan     = "NO_PLAN"
	reasonOtherPlan  = "OTHER_PLAN"
	reasonBadFrame   = "BAD_FRAME"
	reasonBadBatch   = "BAD_BATCH"
	reasonClockAhead = "CLOCK_AHEAD"
	reasonNoLine     = "UNKNOWN_LINE"
	reasonNoPin      = "NO_LOAD_PIN"
)

// errorDomain is the domain of every ErrorInfo.
const errorDomain = "hawser"

// maxViolations bounds the columns one refusal names; the rest are a number.
const maxViolations = 16

// fault is a column that is not taken.
type fault struct {
	column  int
	channel string
	reason  string
	text    string
}

func (f fault) field() string { return fmt.Sprintf("columns[%d] %s", f.column, f.channel) }

func fromBatch(f batch.ColumnFault) fault {
	return fault{f.Column, f.Channel, f.Reason, f.Err.Error()}
}

// place names a batch in a text.
func (d *delivery) place(sequence uint64) string {
	return fmt.Sprintf("berth %s: source %s: batch %d", d.berth.name, d.src.name, sequence)
}

// wholeRefusal refuses a batch.
func (d *delivery) wholeRefusal(sequence uint64, reason, text string) *hawserv1.Refusal {
	st := statusWith(codes.InvalidArgument, d.place(sequence)+": "+text, reason, d.where(sequence),
		&errdetails.BadRequest{FieldViolations: []*errdetails.BadRequest_FieldViolation{violation("batch", reason, text)}})
	return &hawserv1.Refusal{Sequence: sequence, WholeBatch: true, Status: st.Proto()}
}

// columnsRefusal refuses some columns of a batch, of which there are faults.
func (d *delivery) columnsRefusal(sequence uint64, faults []fault) *hawserv1.Refusal {
	bad := &errdetails.BadRequest{}
	for _, f := range faults[:min(len(faults), maxViolations)] {
		bad.FieldViolations = append(bad.FieldViolations, violation(f.field(), f.reason, f.text))
	}
	first := faults[0]
	text := d.place(sequence) + ": " + first.field() + ": " + first.text
	where := d.where(sequence)
	if len(faults) > 1 {
		text += fmt.Sprintf(" (the first of %d columns)", len(faults))
	}
	where["columns"] = fmt.Sprint(len(faults))
	st := statusWith(codes.InvalidArgument, text, first.reason, where, bad)
	return &hawserv1.Refusal{Sequence: sequence, Status: st.Proto()}
}

func (d *delivery) where(sequence uint64) map[string]string {
	return map[string]string{"berth": d.berth.name, "source": d.src.name, "sequence": fmt.Sprint(sequence)}
}

func violation(field, reason, text string) *errdetails.BadRequest_FieldViolation {
	return &errdetails.BadRequest_FieldViolation{Field: field, Reason: reason, Description: text}
}

func withDetails(code codes.Code, text, reason string, where map[string]string, details ...protoadapt.MessageV1) error {
	return statusWith(code, text, reason, where, details...).Err()
}

// statusWith is a status with an ErrorInfo and more details.
func statusWith(code codes.Code, text, reason string, where map[string]string, details ...protoadapt.MessageV1) *status.Status {
	plain := status.New(code, text)
	info := &errdetails.ErrorInfo{Reason: reason, Domain: errorDomain, Metadata: where}
	full, err := plain.WithDetails(append([]protoadapt.MessageV1{info}, details...)...)
	if err != nil { // a code of OK or a message that cannot be packed: neither happens here
		return plain
	}
	return full
}

// reasonOf is the reason a stream ended for, of a bounded set of words.
func reasonOf(err error) string {
	st := status.Convert(err)
	for _, detail := range st.Details() {
		if info, ok := detail.(*errdetails.ErrorInfo); ok {
			return info.GetReason()
		}
	}
	return st.Code().String()
}
