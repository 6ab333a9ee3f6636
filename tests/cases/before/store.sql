BEGIN TRANSACTION;
CREATE TABLE ohmward_events (
	case_id VARCHAR(40) NOT NULL, 
	revision INTEGER NOT NULL, 
	kind VARCHAR(20) NOT NULL, 
	mark VARCHAR(20) NOT NULL, 
	body TEXT NOT NULL, 
	at VARCHAR(32) NOT NULL, 
	PRIMARY KEY (case_id, revision)
);
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',1,'opened','','{"site_text":"# Invented, for tests.\nformat: ohmward-site/1\nname: Bench with five heads (invented)\nzones:\n  zone1: {senses: fire, end_resistor: 4.7 kΩ}\nloops:\n  - zone: zone1\n    style: two_wire_zone\n    count: 5\n    end_resistor: {resistance: 4.7 kΩ}\n","outline":{"contexts":["altered"],"symptom":"constant_trouble","can":["meter"],"meter":{"volts":"0.5 % + 2"},"notes":""}}','2026-11-25T12:43:03.510360+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',2,'acknowledgement','','{"caution":"is_it_real","at":"2026-11-25T12:43:03.536975Z"}','2026-11-25T12:43:03.542653+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',3,'reading','','{"measurement":"volts","value":"1.1 V","red":"panel.zone1+","black":"panel.zone1-","at":"","mode":"","condition":"","taken_at":"2026-03-14T10:43:00Z","by":"","reading_id":"11111111111111111111111111111111"}','2026-11-25T12:43:03.594689+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',4,'reading','','{"measurement":"ohms","value":"OL","red":"panel.zone1+","black":"panel.zone1-","at":"","mode":"lifted","condition":"","taken_at":"2026-03-14T10:42:00Z","by":"","reading_id":"22222222222222222222222222222222"}','2026-11-25T12:43:03.612883+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',5,'retraction','','{"reading_id":"11111111111111111111111111111111","at":"2026-11-25T12:43:03.626932Z","why":"corrected"}','2026-11-25T12:43:03.628392+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',6,'reading','','{"measurement":"volts","value":"23.3 V","red":"panel.zone1+","black":"panel.zone1-","at":"","mode":"","condition":"","taken_at":"2026-03-14T11:05:00Z","by":"","reading_id":"33333333333333333333333333333333"}','2026-11-25T12:43:03.652566+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',7,'site','','{"site_text":"# Invented, for tests.\nformat: ohmward-site/1\nname: Bench with five heads (invented)\nzones:\n  zone1: {senses: fire, end_resistor: 4.7 kΩ}\nloops:\n  - zone: zone1\n    style: two_wire_zone\n    count: 6\n    end_resistor: {resistance: 4.7 kΩ}\n"}','2026-11-25T12:43:03.685683+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',8,'acknowledgement','','{"caution":"described","at":"2026-11-25T12:43:03.711601Z"}','2026-11-25T12:43:03.713548+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',9,'reading','','{"measurement":"lamp","value":"dark","red":"","black":"","at":"det6","mode":"","condition":"","taken_at":"2026-03-14T10:42:00Z","by":"Kim","reading_id":"44444444444444444444444444444444"}','2026-11-25T12:43:03.741541+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',10,'acknowledgement','','{"caution":"skip look|det6|standby","at":"2026-11-25T12:43:03.765813Z"}','2026-11-25T12:43:03.767791+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',11,'acknowledgement','','{"caution":"guide constant_trouble/note=done","at":"2026-03-14T10:42:00Z"}','2026-11-25T12:43:03.795650+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',12,'repair','','{"fault":"join the wire","done_at":"2026-11-25T12:43:03.806877Z","cured":true}','2026-11-25T12:43:03.808812+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',13,'acknowledgement','','{"caution":"tested_after_repair","at":"2026-11-25T12:43:03.819121Z"}','2026-11-25T12:43:03.821148+00:00');
INSERT INTO "ohmward_events" VALUES('old1-case-aaaa',14,'closing','mended','{"closing":"mended"}','2026-11-25T12:43:03.838159+00:00');
INSERT INTO "ohmward_events" VALUES('old2-case-bbbb',1,'opened','','{"site_text":"# Invented, for tests.\nformat: ohmward-site/1\nname: Bench with five heads (invented)\nzones:\n  zone1: {senses: fire, end_resistor: 4.7 kΩ}\nloops:\n  - zone: zone1\n    style: two_wire_zone\n    count: 5\n    end_resistor: {resistance: 4.7 kΩ}\n","outline":{"contexts":["altered"],"symptom":"constant_trouble","can":["meter"],"meter":{"volts":"0.5 % + 2"},"notes":"a ''second'' case"}}','2026-11-25T12:43:03.860243+00:00');
INSERT INTO "ohmward_events" VALUES('old2-case-bbbb',2,'closing','left_impaired','{"closing":"left_impaired"}','2026-11-25T12:43:03.893046+00:00');
CREATE INDEX ix_ohmward_events_at ON ohmward_events (at);
CREATE TRIGGER ohmward_no_update BEFORE UPDATE ON ohmward_events BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END;
CREATE TRIGGER ohmward_no_delete BEFORE DELETE ON ohmward_events BEGIN SELECT RAISE(ABORT, 'events are only ever added'); END;
COMMIT;
