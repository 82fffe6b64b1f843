BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO "alembic_version" VALUES('0001');
CREATE TABLE api_keys (
	id VARCHAR(16) NOT NULL, 
	name VARCHAR(80) NOT NULL, 
	role VARCHAR(10) NOT NULL, 
	digest VARCHAR(64) NOT NULL, 
	made_at DATETIME NOT NULL, 
	revoked_at DATETIME, 
	CONSTRAINT pk_api_keys PRIMARY KEY (id)
);
CREATE TABLE case_findings (
	id INTEGER NOT NULL, 
	case_order INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	body JSON NOT NULL, 
	"by" VARCHAR(165) NOT NULL, 
	at DATETIME NOT NULL, 
	withdrawn_by VARCHAR(165), 
	withdrawn_at DATETIME, 
	withdrawn_because TEXT, 
	CONSTRAINT pk_case_findings PRIMARY KEY (id), 
	CONSTRAINT fk_case_findings_case_order FOREIGN KEY(case_order) REFERENCES cases ("order"), 
	CONSTRAINT uq_case_findings_case_order_place UNIQUE (case_order, place)
);
INSERT INTO "case_findings" VALUES(1,1,1,'{"check": "engine-response", "outcome": "cranks-no-start"}','Dana via till 3','2026-11-20 09:03:00.000000',NULL,NULL,NULL);
INSERT INTO "case_findings" VALUES(2,1,2,'{"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}','Ana','2026-11-20 09:06:00.000000','Ana','2026-11-20 09:12:00.000000','leads on the hold pin');
INSERT INTO "case_findings" VALUES(3,1,3,'{"check": "ground-side-voltage", "value": 5.2, "unit": "V", "note": "at the eye"}','Ana','2026-11-20 09:06:00.000000',NULL,NULL,NULL);
INSERT INTO "case_findings" VALUES(4,2,1,'{"check": "hold-winding-ohms", "outcome": "open", "side": "left"}','Bo','2026-11-20 09:21:00.000000',NULL,NULL,NULL);
INSERT INTO "case_findings" VALUES(5,2,2,'{"check": "pull-winding-ohms", "outcome": "open", "side": "right"}','Bo','2026-11-20 09:21:00.000000',NULL,NULL,NULL);
CREATE TABLE case_steps (
	id INTEGER NOT NULL, 
	case_order INTEGER NOT NULL, 
	version INTEGER NOT NULL, 
	kind VARCHAR(30) NOT NULL, 
	"by" VARCHAR(165) NOT NULL, 
	at DATETIME NOT NULL, 
	body JSON NOT NULL, 
	diagnosis JSON, 
	CONSTRAINT pk_case_steps PRIMARY KEY (id), 
	CONSTRAINT fk_case_steps_case_order FOREIGN KEY(case_order) REFERENCES cases ("order"), 
	CONSTRAINT uq_case_steps_case_order_version UNIQUE (case_order, version)
);
INSERT INTO "case_steps" VALUES(1,1,1,'opened','Dana via till 3','2026-11-20 09:03:00.000000','{"fleet_number": "L-07", "machine_type": "compact track loader", "reference": "W-1182", "complaint": "Cranks and does not start.", "machine": {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}, "findings": [{"place": 1, "check": "engine-response", "outcome": "cranks-no-start"}]}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.071763, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.067165, "group": 1}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.053822, "group": 1}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.051579, "group": 1}, {"id": "pull-wire-resistive", "name": "Resistance in the pull wire or its plug", "probability": 0.04904, "group": 1}], "next_check": {"check": "crank-speed", "name": "How the engine cranks", "kind": "ask", "minutes": 0.0, "say": "Does the engine turn over at its usual speed, slowly, or not at all? Tell me from what you heard; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(2,1,2,'finding-added','Ana','2026-11-20 09:06:00.000000','{"findings": [{"place": 2, "check": "pull-pin-voltage", "value": 11.4, "unit": "V"}, {"place": 3, "check": "ground-side-voltage", "value": 5.2, "unit": "V", "note": "at the eye"}]}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "battery-cable-resistive", "name": "Bad main battery cable, strap or terminal", "probability": 0.5218, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.428661, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.021654, "group": 3}, {"id": "ground-open", "name": "Solenoid ground open", "probability": 0.013695, "group": 3}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.005478, "group": 3}], "next_check": {"check": "crank-speed", "name": "How the engine cranks", "kind": "ask", "minutes": 0.0, "say": "Does the engine turn over at its usual speed, slowly, or not at all? Tell me from what you heard; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(3,1,3,'finding-withdrawn','Ana','2026-11-20 09:12:00.000000','{"place": 2, "because": "leads on the hold pin", "finding": {"check": "pull-pin-voltage", "value": 11.4, "unit": "V"}}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.624946, "group": 1}, {"id": "battery-cable-resistive", "name": "Bad main battery cable, strap or terminal", "probability": 0.338638, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.002895, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.002171, "group": 2}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.002081, "group": 2}], "next_check": {"check": "crank-speed", "name": "How the engine cranks", "kind": "ask", "minutes": 0.0, "say": "Does the engine turn over at its usual speed, slowly, or not at all? Tell me from what you heard; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(4,1,4,'closed','Ana via till 3','2026-11-20 09:15:00.000000','{"outcome": {"cause": "ground-resistive", "replaced": ["ground eye"], "minutes": 35, "note": "Paint under it.", "by": "Ana via till 3", "at": "2026-11-20T09:15:00.000000Z"}}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.624946, "group": 1}, {"id": "battery-cable-resistive", "name": "Bad main battery cable, strap or terminal", "probability": 0.338638, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.002895, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.002171, "group": 2}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.002081, "group": 2}], "next_check": {"check": "crank-speed", "name": "How the engine cranks", "kind": "ask", "minutes": 0.0, "say": "Does the engine turn over at its usual speed, slowly, or not at all? Tell me from what you heard; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(5,2,1,'opened','Bo','2026-11-20 09:21:00.000000','{"machine": {"duty": "brake-release", "control": "controller-on-request", "coil": "unknown"}, "excluded": ["battery-weak"], "findings": [{"place": 1, "check": "hold-winding-ohms", "outcome": "open", "side": "left"}, {"place": 2, "check": "pull-winding-ohms", "outcome": "open", "side": "right"}]}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true, "side": "left", "sides": {"left": {"causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}, "right": {"causes": [{"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.661838, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.16546, "group": 1}, {"id": "relay-contacts-welded", "name": "Pull relay contacts welded shut", "probability": 0.067207, "group": 2}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.006823, "group": 3}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.00597, "group": 3}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}}, "left_out": []}');
INSERT INTO "case_steps" VALUES(6,2,2,'changed','Bo','2026-11-20 09:24:00.000000','{"fields": {"handed_to": {"from": "", "to": "Ana"}}}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true, "side": "left", "sides": {"left": {"causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}, "right": {"causes": [{"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.661838, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.16546, "group": 1}, {"id": "relay-contacts-welded", "name": "Pull relay contacts welded shut", "probability": 0.067207, "group": 2}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.006823, "group": 3}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.00597, "group": 3}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}}, "left_out": []}');
INSERT INTO "case_steps" VALUES(7,3,1,'opened','Bo','2026-11-20 09:27:00.000000','{"machine": {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}, "findings": []}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "fuel-supply-fault", "name": "No fuel or too little reaches the injectors", "probability": 0.052736, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.052736, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.052736, "group": 1}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.046144, "group": 1}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.039552, "group": 1}], "next_check": {"check": "engine-response", "name": "What the engine does", "kind": "ask", "minutes": 0.0, "say": "What does the engine do: not turn over, turn over without starting, start and die, die while running, or keep running with the key off? Tell me from what you saw; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(8,3,2,'closed','Bo','2026-11-20 09:30:00.000000','{"outcome": {"cause": "unknown", "replaced": [], "minutes": null, "note": "", "by": "Bo", "at": "2026-11-20T09:30:00.000000Z"}}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "fuel-supply-fault", "name": "No fuel or too little reaches the injectors", "probability": 0.052736, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.052736, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.052736, "group": 1}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.046144, "group": 1}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.039552, "group": 1}], "next_check": {"check": "engine-response", "name": "What the engine does", "kind": "ask", "minutes": 0.0, "say": "What does the engine do: not turn over, turn over without starting, start and die, die while running, or keep running with the key off? Tell me from what you saw; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
INSERT INTO "case_steps" VALUES(9,3,3,'reopened','Bo','2026-11-20 09:36:00.000000','{"because": "the same again", "outcome": {"cause": "unknown", "replaced": [], "minutes": null, "note": "", "by": "Bo", "at": "2026-11-20T09:30:00.000000Z"}}','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "fuel-supply-fault", "name": "No fuel or too little reaches the injectors", "probability": 0.052736, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.052736, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.052736, "group": 1}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.046144, "group": 1}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.039552, "group": 1}], "next_check": {"check": "engine-response", "name": "What the engine does", "kind": "ask", "minutes": 0.0, "say": "What does the engine do: not turn over, turn over without starting, start and die, die while running, or keep running with the key off? Tell me from what you saw; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}');
CREATE TABLE cases (
	"order" INTEGER NOT NULL, 
	number VARCHAR(12) NOT NULL, 
	version INTEGER NOT NULL, 
	state VARCHAR(10) NOT NULL, 
	opened_at DATETIME NOT NULL, 
	changed_at DATETIME NOT NULL, 
	opened_by VARCHAR(165) NOT NULL, 
	fleet_number VARCHAR(40) NOT NULL, 
	machine_type VARCHAR(80) NOT NULL, 
	reference VARCHAR(80) NOT NULL, 
	complaint TEXT NOT NULL, 
	handed_to VARCHAR(80) NOT NULL, 
	machine JSON NOT NULL, 
	settings JSON NOT NULL, 
	circuit VARCHAR(80) NOT NULL, 
	outcome JSON, 
	confirmed VARCHAR(80) NOT NULL, 
	leading JSON, 
	search TEXT NOT NULL, 
	CONSTRAINT pk_cases PRIMARY KEY ("order"), 
	CONSTRAINT uq_cases_number UNIQUE (number)
);
INSERT INTO "cases" VALUES(1,'48291372',4,'closed','2026-11-20 09:03:00.000000','2026-11-20 09:15:00.000000','Dana via till 3','L-07','compact track loader','W-1182','Cranks and does not start.','','{"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}','{}','fuel-shutoff-controller-on-crank','{"cause": "ground-resistive", "replaced": ["ground eye"], "minutes": 35, "note": "Paint under it.", "by": "Ana via till 3", "at": "2026-11-20T09:15:00.000000Z"}','ground-resistive','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.624946, "group": 1}, {"id": "battery-cable-resistive", "name": "Bad main battery cable, strap or terminal", "probability": 0.338638, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.002895, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.002171, "group": 2}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.002081, "group": 2}], "next_check": {"check": "crank-speed", "name": "How the engine cranks", "kind": "ask", "minutes": 0.0, "say": "Does the engine turn over at its usual speed, slowly, or not at all? Tell me from what you heard; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}','48291372
l-07
compact track loader
w-1182

cranks and does not start.
dana via till 3');
INSERT INTO "cases" VALUES(2,'50372890',2,'open','2026-11-20 09:21:00.000000','2026-11-20 09:24:00.000000','Bo','','','','','Ana','{"duty": "brake-release", "control": "controller-on-request", "coil": "unknown"}','{"excluded": ["battery-weak"]}','brake-release-controller-on-request','null','','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true, "side": "left", "sides": {"left": {"causes": [{"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.679209, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.19406, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.008002, "group": 2}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.008002, "group": 2}, {"id": "interlock-not-met", "name": "Interlock not met or its switch faulty", "probability": 0.006002, "group": 2}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}, "right": {"causes": [{"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.661838, "group": 1}, {"id": "wrong-ground-style", "name": "Replacement part of the other ground style", "probability": 0.16546, "group": 1}, {"id": "relay-contacts-welded", "name": "Pull relay contacts welded shut", "probability": 0.067207, "group": 2}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.006823, "group": 3}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.00597, "group": 3}], "next_check": {"check": "connector-look", "name": "Plug of the solenoid", "kind": "look", "minutes": 3.0, "say": "With the key off, pull the plug off the solenoid and look at both halves. Are the pins clean, corroded, melted, or is one pushed back?"}, "fit": "good", "advice": "check", "covered": true}}, "left_out": []}','50372890



ana

bo');
INSERT INTO "cases" VALUES(3,'71120039',3,'open','2026-11-20 09:27:00.000000','2026-11-20 09:36:00.000000','Bo','','','','','','{"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}','{}','fuel-shutoff-controller-on-crank','null','','{"knowledge_version": "2026.11-46bfceeac13f", "causes": [{"id": "fuel-supply-fault", "name": "No fuel or too little reaches the injectors", "probability": 0.052736, "group": 1}, {"id": "ground-resistive", "name": "Resistive ground of the solenoid", "probability": 0.052736, "group": 1}, {"id": "pull-winding-open", "name": "Pull winding open", "probability": 0.052736, "group": 1}, {"id": "hold-winding-open", "name": "Hold winding open", "probability": 0.046144, "group": 1}, {"id": "battery-weak", "name": "Weak or discharged battery", "probability": 0.039552, "group": 1}], "next_check": {"check": "engine-response", "name": "What the engine does", "kind": "ask", "minutes": 0.0, "say": "What does the engine do: not turn over, turn over without starting, start and die, die while running, or keep running with the key off? Tell me from what you saw; you need not try again."}, "fit": "good", "advice": "check", "covered": true, "left_out": []}','71120039





bo');
CREATE TABLE deliveries (
	id INTEGER NOT NULL, 
	message VARCHAR(40) NOT NULL, 
	endpoint_id VARCHAR(40) NOT NULL, 
	kind VARCHAR(30) NOT NULL, 
	payload TEXT NOT NULL, 
	state VARCHAR(10) NOT NULL, 
	attempts INTEGER NOT NULL, 
	made_at DATETIME NOT NULL, 
	next_at DATETIME NOT NULL, 
	last_result TEXT NOT NULL, 
	CONSTRAINT pk_deliveries PRIMARY KEY (id), 
	CONSTRAINT fk_deliveries_endpoint_id FOREIGN KEY(endpoint_id) REFERENCES endpoints (id)
);
CREATE TABLE endpoints (
	id VARCHAR(40) NOT NULL, 
	url TEXT NOT NULL, 
	events JSON NOT NULL, 
	secret TEXT NOT NULL, 
	made_at DATETIME NOT NULL, 
	disabled_at DATETIME, 
	CONSTRAINT pk_endpoints PRIMARY KEY (id)
);
CREATE TABLE installation (
	name VARCHAR(40) NOT NULL, 
	value TEXT NOT NULL, 
	CONSTRAINT pk_installation PRIMARY KEY (name)
);
CREATE TABLE kept_answers (
	caller VARCHAR(80) NOT NULL, 
	"key" VARCHAR(255) NOT NULL, 
	fingerprint VARCHAR(64) NOT NULL, 
	status INTEGER NOT NULL, 
	headers JSON NOT NULL, 
	body TEXT NOT NULL, 
	at DATETIME NOT NULL, 
	CONSTRAINT pk_kept_answers PRIMARY KEY (caller, "key")
);
CREATE INDEX ix_cases_fleet_number ON cases (fleet_number);
CREATE INDEX ix_cases_state_order ON cases (state, "order");
CREATE INDEX ix_kept_answers_at ON kept_answers (at);
CREATE INDEX ix_deliveries_due ON deliveries (state, next_at);
COMMIT;
