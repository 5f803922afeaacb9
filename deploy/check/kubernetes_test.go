package check

import (
	"fmt"
	"regexp"
	"slices"
	"strings"
	"testing"

	apps "k8s.io/api/apps/v1"
	core "k8s.io/api/core/v1"
	networking "k8s.io/api/networking/v1"
	policy "k8s.io/api/policy/v1"
	"sigs.k8s.io/kustomize/api/krusty"
	"sigs.k8s.io/kustomize/kyaml/filesys"
	"sigs.k8s.io/yaml"
)

// manifests are what kubectl apply -k would send.
type manifests struct {
	configs  map[string]*core.ConfigMap
	services map[string]*core.Service
	sets     map[string]*apps.StatefulSet
	budgets  []*policy.PodDisruptionBudget
	policies []*networking.NetworkPolicy
}

// build runs kustomize and reads what it gives strictly by the API's own types: a
// field that is none of theirs, or of another type, fails.
func build(t *testing.T) manifests {
	t.Helper()
	all, err := krusty.MakeKustomizer(krusty.MakeDefaultOptions()).Run(filesys.MakeFsOnDisk(), "../kubernetes")
	if err != nil {
		t.Fatal(err)
	}
	m := manifests{configs: map[string]*core.ConfigMap{}, services: map[string]*core.Service{}, sets: map[string]*apps.StatefulSet{}}
	for _, r := range all.Resources() {
		text, err := r.AsYAML()
		if err != nil {
			t.Fatal(err)
		}
		read := func(into any) {
			if err := yaml.UnmarshalStrict(text, into); err != nil {
				t.Errorf("%s: %v", r.CurId(), err)
			}
		}
		switch kind := r.GetApiVersion() + " " + r.GetKind(); kind {
		case "v1 Namespace":
			read(&core.Namespace{})
			continue
		case "v1 ConfigMap":
			c := &core.ConfigMap{}
			read(c)
			m.configs[c.Name] = c
		case "v1 Service":
			s := &core.Service{}
			read(s)
			m.services[s.Name] = s
		case "apps/v1 StatefulSet":
			s := &apps.StatefulSet{}
			read(s)
			m.sets[s.Name] = s
		case "policy/v1 PodDisruptionBudget":
			b := &policy.PodDisruptionBudget{}
			read(b)
			m.budgets = append(m.budgets, b)
		case "networking.k8s.io/v1 NetworkPolicy":
			p := &networking.NetworkPolicy{}
			read(p)
			m.policies = append(m.policies, p)
		default:
			t.Errorf("%s: %s is not looked at", r.CurId(), kind)
		}
		if r.GetNamespace() != "hawser" {
			t.Errorf("%s is in the namespace %q", r.CurId(), r.GetNamespace())
		}
	}
	return m
}

// secrets are those that the kustomization says must be there, and their keys.
var secrets = map[string][]string{
	"hawser-tls": {"tls.crt", "tls.key"}, "hawser-devices": {"ca.crt"}, "nats": {"client-password", "route-password"},
	"nats-tls": {"tls.crt", "tls.key", "ca.crt"},
}

func TestManifests(t *testing.T) {
	m := build(t)
	if len(m.sets) != 2 || len(m.services) != 2 || len(m.budgets) != 1 || len(m.policies) != 4 {
		t.Fatalf("there are %+v", m)
	}
	for name, set := range m.sets {
		labels := set.Spec.Template.Labels
		if m.services[set.Spec.ServiceName] == nil {
			t.Errorf("%s: no service %s", name, set.Spec.ServiceName)
		}
		if !selects(set.Spec.Selector.MatchLabels, labels) {
			t.Errorf("%s does not select its own pods", name)
		}
		checkPod(t, m, name, set)
	}
	for name, service := range m.services {
		set := m.sets[name]
		if set == nil || !selects(service.Spec.Selector, set.Spec.Template.Labels) {
			t.Errorf("service %s selects no pod", name)
			continue
		}
		for _, p := range service.Spec.Ports {
			if !slices.ContainsFunc(ports(set), func(c core.ContainerPort) bool {
				return c.Name == p.TargetPort.String() || c.ContainerPort == p.TargetPort.IntVal || p.TargetPort.String() == "0" && c.ContainerPort == p.Port
			}) {
				t.Errorf("service %s: port %s leads nowhere", name, p.Name)
			}
		}
	}
	// What is not there is not promised: one hawser, whatever its journal can bear.
	if n := *m.sets["hawser"].Spec.Replicas; n != 1 {
		t.Errorf("%d replicas of hawser would watch each berth %d times", n, n)
	}
	if n := *m.sets["nats"].Spec.Replicas; n != 3 {
		t.Errorf("the journal has %d servers, want 3", n)
	}
	if b := m.budgets[0]; b.Spec.MaxUnavailable.IntValue() != 1 || !selects(b.Spec.Selector.MatchLabels, m.sets["nats"].Spec.Template.Labels) {
		t.Error("the disruption budget does not keep two of the journal's servers")
	}
	for _, p := range m.policies {
		if len(p.Spec.PodSelector.MatchLabels) > 0 && !slices.ContainsFunc([]string{"hawser", "nats"}, func(name string) bool {
			return selects(p.Spec.PodSelector.MatchLabels, m.sets[name].Spec.Template.Labels)
		}) {
			t.Errorf("network policy %s is of no pod", p.Name)
		}
	}
}

// Whatever the journal's configuration takes from the environment, its servers have;
// what goes over the network goes over TLS, and hawser knows its authority.
func TestJournalIsReachedOverTLS(t *testing.T) {
	m := build(t)
	conf, env := "", map[string]bool{}
	for _, c := range m.configs {
		conf += c.Data["nats.conf"]
	}
	for _, e := range m.sets["nats"].Spec.Template.Spec.Containers[0].Env {
		env[e.Name] = true
	}
	for _, name := range regexp.MustCompile(`\$([A-Z_]+)`).FindAllStringSubmatch(conf, -1) {
		if !env[name[1]] {
			t.Errorf("nats.conf takes %s, which the servers have not", name[1])
		}
	}
	if n := strings.Count(conf, "tls {"); n != 2 {
		t.Errorf("%d of the listeners for clients and servers have TLS, want 2", n)
	}
	for _, c := range m.configs {
		if settings := c.Data["hawser.yaml"]; settings != "" && !strings.Contains(settings, "root_cas: /etc/hawser/journal/ca.crt") {
			t.Error("hawser does not know the authority of the journal's servers")
		}
	}
}

// checkPod looks at what a schema cannot say: that what a pod names is there, and
// that it is held as the namespace's restricted Pod Security Standard wants.
func checkPod(t *testing.T, m manifests, name string, set *apps.StatefulSet) {
	pod := set.Spec.Template.Spec
	volumes := map[string]bool{}
	for _, c := range set.Spec.VolumeClaimTemplates {
		volumes[c.Name] = true
	}
	secret := func(name, key string) error {
		if keys, ok := secrets[name]; !ok || key != "" && !slices.Contains(keys, key) {
			return fmt.Errorf("no secret %s with %s is asked for in the kustomization", name, key)
		}
		return nil
	}
	var errs []error
	for _, v := range pod.Volumes {
		volumes[v.Name] = true
		if v.ConfigMap != nil && m.configs[v.ConfigMap.Name] == nil {
			errs = append(errs, fmt.Errorf("no config map %s", v.ConfigMap.Name))
		}
		if v.Secret != nil {
			errs = append(errs, secret(v.Secret.SecretName, ""))
			for _, i := range v.Secret.Items {
				errs = append(errs, secret(v.Secret.SecretName, i.Key))
			}
		}
		if v.Projected != nil {
			for _, s := range v.Projected.Sources {
				if s.ConfigMap != nil && m.configs[s.ConfigMap.Name] == nil {
					errs = append(errs, fmt.Errorf("no config map %s", s.ConfigMap.Name))
				}
				if s.Secret != nil {
					errs = append(errs, secret(s.Secret.Name, s.Secret.Items[0].Key))
				}
			}
		}
	}
	if !*pod.SecurityContext.RunAsNonRoot || pod.SecurityContext.SeccompProfile.Type != core.SeccompProfileTypeRuntimeDefault {
		errs = append(errs, fmt.Errorf("it may run as root or call anything"))
	}
	for _, c := range pod.Containers {
		for _, mount := range c.VolumeMounts {
			if !volumes[mount.Name] {
				errs = append(errs, fmt.Errorf("no volume %s", mount.Name))
			}
		}
		for _, e := range c.Env {
			if e.ValueFrom != nil && e.ValueFrom.SecretKeyRef != nil {
				errs = append(errs, secret(e.ValueFrom.SecretKeyRef.Name, e.ValueFrom.SecretKeyRef.Key))
			}
		}
		for what, p := range map[string]*core.Probe{"startup": c.StartupProbe, "liveness": c.LivenessProbe, "readiness": c.ReadinessProbe} {
			if p == nil || p.HTTPGet == nil || !slices.ContainsFunc(c.Ports, func(cp core.ContainerPort) bool { return cp.Name == p.HTTPGet.Port.String() }) {
				errs = append(errs, fmt.Errorf("%s probe asks no port of the container", what))
			}
		}
		s := c.SecurityContext
		if *s.AllowPrivilegeEscalation || !*s.ReadOnlyRootFilesystem || !slices.Equal(s.Capabilities.Drop, []core.Capability{"ALL"}) {
			errs = append(errs, fmt.Errorf("it has more rights than it needs"))
		}
		if c.Resources.Limits.Memory().IsZero() || !strings.Contains(c.Image, ":") {
			errs = append(errs, fmt.Errorf("no bound on memory, or an image of no version: %s", c.Image))
		}
	}
	for _, err := range errs {
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func ports(set *apps.StatefulSet) (all []core.ContainerPort) {
	for _, c := range set.Spec.Template.Spec.Containers {
		all = append(all, c.Ports...)
	}
	return all
}

// selects reports whether a selector picks labels.
func selects(selector, labels map[string]string) bool {
	for k, v := range selector {
		if labels[k] != v {
			return false
		}
	}
	return len(selector) > 0
}

// The strict reading finds what it is for.
func TestStrictReadingFindsFaults(t *testing.T) {
	for _, text := range []string{
		"spec: {replicas: three}", "spec: {replica: 3}", "spec: {template: {spec: {containers: [{name: a, port: 1}]}}}",
	} {
		if err := yaml.UnmarshalStrict([]byte(text), &apps.StatefulSet{}); err == nil {
			t.Errorf("%s is taken", text)
		}
	}
}
