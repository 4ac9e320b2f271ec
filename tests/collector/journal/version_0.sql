BEGIN TRANSACTION;
CREATE TABLE alarm (
	plant VARCHAR NOT NULL,
	subject VARCHAR NOT NULL,
	fault VARCHAR NOT NULL,
	urgency VARCHAR NOT NULL,
	state VARCHAR NOT NULL,
	since_ms BIGINT NOT NULL,
	is_present BOOLEAN NOT NULL,
	changing_since_ms BIGINT,
	raised_ms BIGINT,
	shelved_until_ms BIGINT,
	finding TEXT,
	PRIMARY KEY (plant, subject, fault)
);
INSERT INTO "alarm" VALUES('quay','heating','stall','now','shelved',5,1,NULL,4,9,'{"fault":"stall"}');
CREATE TABLE event (
	id INTEGER NOT NULL,
	time_ms BIGINT NOT NULL,
	plant VARCHAR NOT NULL,
	subject VARCHAR NOT NULL,
	what VARCHAR NOT NULL,
	words TEXT NOT NULL,
	PRIMARY KEY (id)
);
INSERT INTO "event" VALUES(1,6,'quay','heating','stall','raised');
CREATE TABLE logbook (
	id INTEGER NOT NULL,
	plant VARCHAR NOT NULL,
	time_ms BIGINT NOT NULL,
	subject VARCHAR NOT NULL,
	kind VARCHAR NOT NULL,
	words TEXT NOT NULL,
	who VARCHAR NOT NULL,
	PRIMARY KEY (id)
);
INSERT INTO "logbook" VALUES(1,'quay',10,'heating','work','vented','owner');
CREATE TABLE notice (
	id INTEGER NOT NULL,
	time_ms BIGINT NOT NULL,
	plant VARCHAR NOT NULL,
	subject VARCHAR NOT NULL,
	fault VARCHAR NOT NULL,
	reason VARCHAR NOT NULL,
	PRIMARY KEY (id)
);
INSERT INTO "notice" VALUES(1,8,'quay','heating','stall','raised');
CREATE TABLE result (
	plant VARCHAR NOT NULL,
	name VARCHAR NOT NULL,
	made_ms BIGINT NOT NULL,
	document BLOB NOT NULL,
	PRIMARY KEY (plant, name)
);
INSERT INTO "result" VALUES('quay','normal_w',7,X'7B2268656174696E67223A32342E307D');
CREATE TABLE screened (
	address VARCHAR NOT NULL,
	rule VARCHAR NOT NULL,
	day INTEGER NOT NULL,
	count BIGINT NOT NULL,
	PRIMARY KEY (address, rule, day)
);
INSERT INTO "screened" VALUES('quay/heating.power','duplicate',20000,3);
CREATE TABLE swap (
	id INTEGER NOT NULL,
	plant VARCHAR NOT NULL,
	pump VARCHAR NOT NULL,
	started_ms BIGINT NOT NULL,
	time_ms BIGINT,
	who VARCHAR NOT NULL,
	mode VARCHAR NOT NULL,
	night_reduction BOOLEAN,
	claim_kwh_per_year FLOAT,
	PRIMARY KEY (id)
);
INSERT INTO "swap" VALUES(1,'quay','heating',11,NULL,'owner','',NULL,NULL);
CREATE TABLE swap_photo (
	swap INTEGER NOT NULL,
	name VARCHAR NOT NULL,
	sha256 VARCHAR NOT NULL,
	words TEXT NOT NULL,
	PRIMARY KEY (swap, name)
);
INSERT INTO "swap_photo" VALUES(1,'plate.jpg','00','the plate');
CREATE TABLE swap_power (
	swap INTEGER NOT NULL,
	which VARCHAR NOT NULL,
	setting VARCHAR NOT NULL,
	power_w FLOAT NOT NULL,
	low_w FLOAT NOT NULL,
	high_w FLOAT NOT NULL,
	PRIMARY KEY (swap, which, setting)
);
INSERT INTO "swap_power" VALUES(1,'old','III',62.0,60.5,63.5);
CREATE TABLE swap_pump (
	swap INTEGER NOT NULL,
	which VARCHAR NOT NULL,
	drive VARCHAR,
	port_to_port_mm INTEGER,
	thread VARCHAR,
	head_m FLOAT,
	least_w FLOAT,
	most_w FLOAT,
	energy_index FLOAT,
	always_on BOOLEAN,
	plug VARCHAR,
	PRIMARY KEY (swap, which)
);
INSERT INTO "swap_pump" VALUES(1,'old','induction',180,NULL,NULL,NULL,65.0,NULL,NULL,'plug-2');
INSERT INTO "swap_pump" VALUES(1,'new',NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL,NULL);
CREATE TABLE swap_step (
	swap INTEGER NOT NULL,
	step VARCHAR NOT NULL,
	time_ms BIGINT NOT NULL,
	who VARCHAR NOT NULL,
	words TEXT NOT NULL,
	PRIMARY KEY (swap, step)
);
INSERT INTO "swap_step" VALUES(1,'mains',12,'owner','off and locked');
CREATE TABLE trial (
	plant VARCHAR NOT NULL,
	pump VARCHAR NOT NULL,
	document BLOB NOT NULL,
	PRIMARY KEY (plant, pump)
);
INSERT INTO "trial" VALUES('quay','charging',X'7B7D');
CREATE INDEX ix_event_time_ms ON event (time_ms);
CREATE INDEX ix_logbook_plant ON logbook (plant);
CREATE INDEX ix_notice_time_ms ON notice (time_ms);
CREATE INDEX ix_swap_plant ON swap (plant);
COMMIT;
