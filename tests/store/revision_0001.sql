PRAGMA foreign_keys=OFF;
BEGIN TRANSACTION;
CREATE TABLE alembic_version (
	version_num VARCHAR(32) NOT NULL, 
	CONSTRAINT alembic_version_pkc PRIMARY KEY (version_num)
);
INSERT INTO alembic_version VALUES('0001');
CREATE TABLE head (
	id INTEGER NOT NULL, 
	entries INTEGER NOT NULL, 
	bookings INTEGER NOT NULL, 
	excursions INTEGER NOT NULL, 
	orders INTEGER NOT NULL, 
	pulls INTEGER NOT NULL, 
	hash TEXT NOT NULL, 
	PRIMARY KEY (id)
);
INSERT INTO head VALUES(1,5,1,1,0,0,'8c89bd9cb25e0ebe932548a19aa89f1c2deb467087ce5ab08fd5e9b45f2aae9b');
CREATE TABLE entry (
	n INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	at BIGINT NOT NULL, 
	recorded_at BIGINT NOT NULL, 
	"by" TEXT NOT NULL, 
	site TEXT NOT NULL, 
	what TEXT NOT NULL, 
	body_hash TEXT NOT NULL, 
	before_hash TEXT NOT NULL, 
	hash TEXT NOT NULL, 
	PRIMARY KEY (n)
);
INSERT INTO entry VALUES(1,'init',1767600000,1767600000,'AB','','began with Saltgrass Dental','4fd65216262b766b1d7d01f66a5212adf83f8f17e1a10cdd4c1b154f4e6f24bc','0000000000000000000000000000000000000000000000000000000000000000','7dbf9d61e99466f380e50a76d770d3385bcfa571916cf9b31bf71e15f86e70f9');
INSERT INTO entry VALUES(2,'receive',1772409600,1772442000,'AB','','received 4 x KIT lot A1 (1 pack) into Cold one','24bfebfd4c32b03d70eafca08251a414b6228e8deee10e9d4f57979e39c14ae8','7dbf9d61e99466f380e50a76d770d3385bcfa571916cf9b31bf71e15f86e70f9','037dcdff4d034015c4bad5767076ae03e19fedb085a85ec190bc65985ed4d622');
INSERT INTO entry VALUES(3,'import',1772442000,1772442000,'AB','','Cold one: 42 readings from log.csv','154f83ed5c0ce2c99df6fbf225aa6e961733dc4d98171b928c16c25d502c7919','037dcdff4d034015c4bad5767076ae03e19fedb085a85ec190bc65985ed4d622','636207c834e998fdd14324aad63220ecfa0d96428bcfbdd9dcdc31f3c8c2dedb');
INSERT INTO entry VALUES(4,'check',1772442000,1772442000,'AB','','Cold one: 4.0 °C, min 3.5 °C, max 4.4 °C','0eb19eb9fa433d73ae9b0e52389ff3f45edce746f11eb73d3e5cb930792e200d','636207c834e998fdd14324aad63220ecfa0d96428bcfbdd9dcdc31f3c8c2dedb','36b7739f57096d22117d35a3dc8205ad053ff96d241ba61ff24564e4d7bc3d94');
INSERT INTO entry VALUES(5,'booking',1772442000,1772442000,'AB','','B-1: white on Thu 5 Mar 10:00 for P-1','36e75f36a976047de7f4249289a88c2156e8f0642ea4bf4f2ed93ccff014ddc7','36b7739f57096d22117d35a3dc8205ad053ff96d241ba61ff24564e4d7bc3d94','8c89bd9cb25e0ebe932548a19aa89f1c2deb467087ce5ab08fd5e9b45f2aae9b');
CREATE TABLE booking (
	n INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	site TEXT NOT NULL, 
	PRIMARY KEY (n), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
INSERT INTO booking VALUES(1,5,'');
CREATE TABLE breach (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	slug TEXT NOT NULL, 
	what TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE day_exception (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	site TEXT NOT NULL, 
	day TEXT NOT NULL, 
	open BOOLEAN NOT NULL, 
	from_minute INTEGER NOT NULL, 
	to_minute INTEGER NOT NULL, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE lot (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	product TEXT NOT NULL, 
	code TEXT NOT NULL, 
	PRIMARY KEY (id), 
	UNIQUE (product, code), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
INSERT INTO lot VALUES(1,2,'KIT','A1');
CREATE TABLE place (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	name TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	UNIQUE (name)
);
INSERT INTO place VALUES(1,2,'supplier','outside');
INSERT INTO place VALUES(2,2,'Cold one','fridge');
CREATE TABLE practice_version (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	valid_from BIGINT, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
INSERT INTO practice_version VALUES(1,1,NULL,replace('\n[practice]\nname = "Saltgrass Dental"\ntimezone = "Europe/Amsterdam"\ncurrency = "EUR"\nmargin_minutes = 0\nhours = { mon = ["08:00-18:00"], tue = ["08:00-18:00"], wed = ["08:00-18:00"], thu = ["08:00-18:00"], fri = ["08:00-16:00"] }\n\n[[fridge]]\nname = "Cold one"\nlow = 2.0\nhigh = 8.0\nlogger_minutes = 10\ncapacity = 40\n\n[[fridge]]\nname = "Cold two"\nlow = 2.0\nhigh = 8.0\ncapacity = 40\n\n[[shelf]]\nname = "Cupboard"\n\n[[supplier]]\nname = "Harbour Supplies"\norder_days = ["mon", "thu"]\ncutoff = "14:00"\nlead_days = 2\ndelivery_days = ["mon", "tue", "wed", "thu", "fri"]\n\n[[product]]\ncode = "KIT"\nname = "Cold kit"\nsupplier = "Harbour Supplies"\nkind = "kit"\nkeep = { low = 2.0, high = 6.0 }\nsource = "label"\nwarmup_hours = 24\nmax_out_hours = 72\npack_size = 4\npack_price = 100.0\nspace = 1\nshelf_life_days = 300\ncontains = { SWAB = 4 }\ncaution = ["Do not use if the seal is broken."]\n\n[[product]]\ncode = "SWAB"\nname = "Swab"\nsupplier = "Harbour Supplies"\nkind = "supply"\npack_size = 50\npack_price = 5.0\n\n[[procedure]]\ncode = "white"\nminutes = 45\nminutes_per_cycle = 10\ncycles = 6\nmax_cycles = 8\nexpected_per_week = 2\nuses = [ { product = "KIT", each = 1 }, { product = "SWAB", per_cycles = 2, spare = 1 } ]\n','\n',char(10)));
CREATE TABLE promise (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	pull INTEGER NOT NULL, 
	booking INTEGER, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE remembered (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	subject TEXT NOT NULL, 
	text TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE reversal (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	reverses INTEGER NOT NULL, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	UNIQUE (reverses)
);
CREATE TABLE supply_order (
	n INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	supplier TEXT NOT NULL, 
	site TEXT NOT NULL, 
	due BIGINT NOT NULL, 
	PRIMARY KEY (n), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
);
CREATE TABLE booking_change (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	booking INTEGER NOT NULL, 
	state TEXT NOT NULL, 
	procedure TEXT NOT NULL, 
	start BIGINT NOT NULL, 
	patient TEXT NOT NULL, 
	cycles INTEGER, 
	cycles_done INTEGER, 
	outcome TEXT, 
	sequence INTEGER, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(booking) REFERENCES booking (n)
);
INSERT INTO booking_change VALUES(1,5,1772442000,1,'booked','white',1772701200,'P-1',NULL,NULL,NULL,NULL,NULL);
CREATE TABLE booking_link (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	booking INTEGER NOT NULL, 
	external_id TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(booking) REFERENCES booking (n)
);
CREATE TABLE excursion (
	n INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	fridge INTEGER NOT NULL, 
	source TEXT NOT NULL, 
	direction TEXT, 
	limit_milli INTEGER, 
	anchor_at BIGINT NOT NULL, 
	PRIMARY KEY (n), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(fridge) REFERENCES place (id)
);
INSERT INTO excursion VALUES(1,3,2,'logger','warm',6000,1772429400);
CREATE TABLE explained (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	fridge INTEGER NOT NULL, 
	day TEXT NOT NULL, 
	why TEXT NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(fridge) REFERENCES place (id)
);
CREATE TABLE fridge_duty (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	fridge INTEGER NOT NULL, 
	"on" BOOLEAN NOT NULL, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(fridge) REFERENCES place (id)
);
CREATE TABLE hand_check (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	fridge INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	milli INTEGER NOT NULL, 
	low INTEGER, 
	high INTEGER, 
	doubtful BOOLEAN NOT NULL, 
	note TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(fridge) REFERENCES place (id)
);
INSERT INTO hand_check VALUES(1,4,2,1772442000,4000,3500,4400,0,NULL);
CREATE TABLE hold (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	lot INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	quantity INTEGER NOT NULL, 
	cause TEXT NOT NULL, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(lot) REFERENCES lot (id), 
	FOREIGN KEY(place) REFERENCES place (id)
);
INSERT INTO hold VALUES(1,3,1772429229,1,2,4,'E-1',NULL);
CREATE TABLE lot_expiry (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	lot INTEGER NOT NULL, 
	expiry TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(lot) REFERENCES lot (id)
);
INSERT INTO lot_expiry VALUES(1,2,1,'2026-12-31');
CREATE TABLE movement (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	lot INTEGER NOT NULL, 
	quantity INTEGER NOT NULL, 
	source INTEGER NOT NULL, 
	target INTEGER NOT NULL, 
	prefer TEXT NOT NULL, 
	kind TEXT NOT NULL, 
	booking INTEGER, 
	supply_order INTEGER, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(lot) REFERENCES lot (id), 
	FOREIGN KEY(source) REFERENCES place (id), 
	FOREIGN KEY(target) REFERENCES place (id)
);
INSERT INTO movement VALUES(1,2,1772409600,1,4,1,2,'free','receive',NULL,NULL,NULL);
CREATE TABLE order_change (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	supply_order INTEGER NOT NULL, 
	kind TEXT NOT NULL, 
	due BIGINT, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(supply_order) REFERENCES supply_order (n)
);
CREATE TABLE order_line (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	supply_order INTEGER NOT NULL, 
	product TEXT NOT NULL, 
	quantity INTEGER NOT NULL, 
	proposed INTEGER, 
	pack_price INTEGER, 
	why TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(supply_order) REFERENCES supply_order (n)
);
CREATE TABLE pull (
	n INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	lot INTEGER NOT NULL, 
	source INTEGER NOT NULL, 
	prior INTEGER, 
	PRIMARY KEY (n), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(lot) REFERENCES lot (id), 
	FOREIGN KEY(source) REFERENCES place (id)
);
CREATE TABLE reading (
	fridge INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	entry INTEGER NOT NULL, 
	milli INTEGER NOT NULL, 
	PRIMARY KEY (fridge, at, entry), 
	FOREIGN KEY(fridge) REFERENCES place (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED
)
 WITHOUT ROWID

;
INSERT INTO reading VALUES(2,1772413200,3,4000);
INSERT INTO reading VALUES(2,1772413800,3,4000);
INSERT INTO reading VALUES(2,1772414400,3,4000);
INSERT INTO reading VALUES(2,1772415000,3,4000);
INSERT INTO reading VALUES(2,1772415600,3,4000);
INSERT INTO reading VALUES(2,1772416200,3,4000);
INSERT INTO reading VALUES(2,1772416800,3,4000);
INSERT INTO reading VALUES(2,1772417400,3,4000);
INSERT INTO reading VALUES(2,1772418000,3,4000);
INSERT INTO reading VALUES(2,1772418600,3,4000);
INSERT INTO reading VALUES(2,1772419200,3,4000);
INSERT INTO reading VALUES(2,1772419800,3,4000);
INSERT INTO reading VALUES(2,1772420400,3,4000);
INSERT INTO reading VALUES(2,1772421000,3,4000);
INSERT INTO reading VALUES(2,1772421600,3,4000);
INSERT INTO reading VALUES(2,1772422200,3,4000);
INSERT INTO reading VALUES(2,1772422800,3,4000);
INSERT INTO reading VALUES(2,1772423400,3,4000);
INSERT INTO reading VALUES(2,1772424000,3,4000);
INSERT INTO reading VALUES(2,1772424600,3,4000);
INSERT INTO reading VALUES(2,1772425200,3,4000);
INSERT INTO reading VALUES(2,1772425800,3,4000);
INSERT INTO reading VALUES(2,1772426400,3,4000);
INSERT INTO reading VALUES(2,1772427000,3,4000);
INSERT INTO reading VALUES(2,1772427600,3,4000);
INSERT INTO reading VALUES(2,1772428200,3,4000);
INSERT INTO reading VALUES(2,1772428800,3,4000);
INSERT INTO reading VALUES(2,1772429400,3,6800);
INSERT INTO reading VALUES(2,1772430000,3,6800);
INSERT INTO reading VALUES(2,1772430600,3,6800);
INSERT INTO reading VALUES(2,1772431200,3,4000);
INSERT INTO reading VALUES(2,1772431800,3,4000);
INSERT INTO reading VALUES(2,1772432400,3,4000);
INSERT INTO reading VALUES(2,1772433000,3,4000);
INSERT INTO reading VALUES(2,1772433600,3,4000);
INSERT INTO reading VALUES(2,1772434200,3,4000);
INSERT INTO reading VALUES(2,1772434800,3,4000);
INSERT INTO reading VALUES(2,1772435400,3,4000);
INSERT INTO reading VALUES(2,1772436000,3,4000);
INSERT INTO reading VALUES(2,1772436600,3,4000);
INSERT INTO reading VALUES(2,1772437200,3,4000);
INSERT INTO reading VALUES(2,1772437800,3,4000);
CREATE TABLE reading_conflict (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	fridge INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	kept_milli INTEGER NOT NULL, 
	other_milli INTEGER NOT NULL, 
	line INTEGER NOT NULL, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(fridge) REFERENCES place (id)
);
CREATE TABLE release (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	lot INTEGER NOT NULL, 
	place INTEGER NOT NULL, 
	quantity INTEGER NOT NULL, 
	causes TEXT NOT NULL, 
	why TEXT, 
	answer TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(lot) REFERENCES lot (id), 
	FOREIGN KEY(place) REFERENCES place (id)
);
CREATE TABLE decision (
	id INTEGER NOT NULL, 
	entry INTEGER NOT NULL, 
	at BIGINT NOT NULL, 
	excursion INTEGER NOT NULL, 
	verdict TEXT NOT NULL, 
	figures TEXT NOT NULL, 
	why TEXT NOT NULL, 
	answer TEXT, 
	PRIMARY KEY (id), 
	FOREIGN KEY(entry) REFERENCES entry (n) DEFERRABLE INITIALLY DEFERRED, 
	FOREIGN KEY(excursion) REFERENCES excursion (n)
);
CREATE INDEX ix_booking_entry ON booking (entry);
CREATE INDEX ix_breach_entry ON breach (entry);
CREATE INDEX ix_day_exception_entry ON day_exception (entry);
CREATE INDEX ix_lot_entry ON lot (entry);
CREATE INDEX ix_place_entry ON place (entry);
CREATE INDEX ix_practice_version_entry ON practice_version (entry);
CREATE INDEX ix_promise_entry ON promise (entry);
CREATE INDEX ix_remembered_entry ON remembered (entry);
CREATE INDEX ix_reversal_entry ON reversal (entry);
CREATE INDEX ix_supply_order_entry ON supply_order (entry);
CREATE INDEX ix_booking_change_booking ON booking_change (booking);
CREATE INDEX ix_booking_change_entry ON booking_change (entry);
CREATE INDEX ix_booking_link_external_id ON booking_link (external_id);
CREATE INDEX ix_booking_link_entry ON booking_link (entry);
CREATE INDEX ix_excursion_entry ON excursion (entry);
CREATE INDEX ix_excursion_fridge ON excursion (fridge);
CREATE INDEX ix_explained_entry ON explained (entry);
CREATE INDEX ix_fridge_duty_entry ON fridge_duty (entry);
CREATE INDEX ix_hand_check_entry ON hand_check (entry);
CREATE INDEX ix_hold_lot ON hold (lot);
CREATE INDEX ix_hold_entry ON hold (entry);
CREATE INDEX ix_lot_expiry_entry ON lot_expiry (entry);
CREATE INDEX ix_movement_entry ON movement (entry);
CREATE INDEX ix_order_change_supply_order ON order_change (supply_order);
CREATE INDEX ix_order_change_entry ON order_change (entry);
CREATE INDEX ix_order_line_entry ON order_line (entry);
CREATE INDEX ix_order_line_supply_order ON order_line (supply_order);
CREATE INDEX ix_pull_entry ON pull (entry);
CREATE INDEX ix_reading_entry ON reading (entry);
CREATE INDEX ix_reading_conflict_entry ON reading_conflict (entry);
CREATE INDEX ix_release_entry ON release (entry);
CREATE INDEX ix_release_lot ON release (lot);
CREATE INDEX ix_decision_excursion ON decision (excursion);
CREATE INDEX ix_decision_entry ON decision (entry);
CREATE INDEX ix_hand_check_fridge_at ON hand_check (fridge, at);
CREATE INDEX ix_movement_lot_at ON movement (lot, at);
CREATE TRIGGER "entry_no_update" BEFORE UPDATE ON "entry" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "entry_no_delete" BEFORE DELETE ON "entry" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "entry_no_replace" BEFORE INSERT ON "entry" WHEN EXISTS (SELECT 1 FROM "entry" WHERE n = NEW.n) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_no_update" BEFORE UPDATE ON "booking" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_no_delete" BEFORE DELETE ON "booking" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_no_replace" BEFORE INSERT ON "booking" WHEN EXISTS (SELECT 1 FROM "booking" WHERE n = NEW.n) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "breach_no_update" BEFORE UPDATE ON "breach" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "breach_no_delete" BEFORE DELETE ON "breach" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "breach_no_replace" BEFORE INSERT ON "breach" WHEN EXISTS (SELECT 1 FROM "breach" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "day_exception_no_update" BEFORE UPDATE ON "day_exception" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "day_exception_no_delete" BEFORE DELETE ON "day_exception" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "day_exception_no_replace" BEFORE INSERT ON "day_exception" WHEN EXISTS (SELECT 1 FROM "day_exception" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_no_update" BEFORE UPDATE ON "lot" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_no_delete" BEFORE DELETE ON "lot" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_no_replace" BEFORE INSERT ON "lot" WHEN EXISTS (SELECT 1 FROM "lot" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "place_no_update" BEFORE UPDATE ON "place" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "place_no_delete" BEFORE DELETE ON "place" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "place_no_replace" BEFORE INSERT ON "place" WHEN EXISTS (SELECT 1 FROM "place" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "practice_version_no_update" BEFORE UPDATE ON "practice_version" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "practice_version_no_delete" BEFORE DELETE ON "practice_version" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "practice_version_no_replace" BEFORE INSERT ON "practice_version" WHEN EXISTS (SELECT 1 FROM "practice_version" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "promise_no_update" BEFORE UPDATE ON "promise" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "promise_no_delete" BEFORE DELETE ON "promise" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "promise_no_replace" BEFORE INSERT ON "promise" WHEN EXISTS (SELECT 1 FROM "promise" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "remembered_no_update" BEFORE UPDATE ON "remembered" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "remembered_no_delete" BEFORE DELETE ON "remembered" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "remembered_no_replace" BEFORE INSERT ON "remembered" WHEN EXISTS (SELECT 1 FROM "remembered" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reversal_no_update" BEFORE UPDATE ON "reversal" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reversal_no_delete" BEFORE DELETE ON "reversal" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reversal_no_replace" BEFORE INSERT ON "reversal" WHEN EXISTS (SELECT 1 FROM "reversal" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "supply_order_no_update" BEFORE UPDATE ON "supply_order" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "supply_order_no_delete" BEFORE DELETE ON "supply_order" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "supply_order_no_replace" BEFORE INSERT ON "supply_order" WHEN EXISTS (SELECT 1 FROM "supply_order" WHERE n = NEW.n) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_change_no_update" BEFORE UPDATE ON "booking_change" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_change_no_delete" BEFORE DELETE ON "booking_change" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_change_no_replace" BEFORE INSERT ON "booking_change" WHEN EXISTS (SELECT 1 FROM "booking_change" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_link_no_update" BEFORE UPDATE ON "booking_link" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_link_no_delete" BEFORE DELETE ON "booking_link" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "booking_link_no_replace" BEFORE INSERT ON "booking_link" WHEN EXISTS (SELECT 1 FROM "booking_link" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "excursion_no_update" BEFORE UPDATE ON "excursion" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "excursion_no_delete" BEFORE DELETE ON "excursion" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "excursion_no_replace" BEFORE INSERT ON "excursion" WHEN EXISTS (SELECT 1 FROM "excursion" WHERE n = NEW.n) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "explained_no_update" BEFORE UPDATE ON "explained" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "explained_no_delete" BEFORE DELETE ON "explained" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "explained_no_replace" BEFORE INSERT ON "explained" WHEN EXISTS (SELECT 1 FROM "explained" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "fridge_duty_no_update" BEFORE UPDATE ON "fridge_duty" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "fridge_duty_no_delete" BEFORE DELETE ON "fridge_duty" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "fridge_duty_no_replace" BEFORE INSERT ON "fridge_duty" WHEN EXISTS (SELECT 1 FROM "fridge_duty" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hand_check_no_update" BEFORE UPDATE ON "hand_check" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hand_check_no_delete" BEFORE DELETE ON "hand_check" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hand_check_no_replace" BEFORE INSERT ON "hand_check" WHEN EXISTS (SELECT 1 FROM "hand_check" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hold_no_update" BEFORE UPDATE ON "hold" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hold_no_delete" BEFORE DELETE ON "hold" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "hold_no_replace" BEFORE INSERT ON "hold" WHEN EXISTS (SELECT 1 FROM "hold" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_expiry_no_update" BEFORE UPDATE ON "lot_expiry" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_expiry_no_delete" BEFORE DELETE ON "lot_expiry" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "lot_expiry_no_replace" BEFORE INSERT ON "lot_expiry" WHEN EXISTS (SELECT 1 FROM "lot_expiry" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "movement_no_update" BEFORE UPDATE ON "movement" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "movement_no_delete" BEFORE DELETE ON "movement" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "movement_no_replace" BEFORE INSERT ON "movement" WHEN EXISTS (SELECT 1 FROM "movement" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_change_no_update" BEFORE UPDATE ON "order_change" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_change_no_delete" BEFORE DELETE ON "order_change" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_change_no_replace" BEFORE INSERT ON "order_change" WHEN EXISTS (SELECT 1 FROM "order_change" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_line_no_update" BEFORE UPDATE ON "order_line" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_line_no_delete" BEFORE DELETE ON "order_line" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "order_line_no_replace" BEFORE INSERT ON "order_line" WHEN EXISTS (SELECT 1 FROM "order_line" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "pull_no_update" BEFORE UPDATE ON "pull" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "pull_no_delete" BEFORE DELETE ON "pull" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "pull_no_replace" BEFORE INSERT ON "pull" WHEN EXISTS (SELECT 1 FROM "pull" WHERE n = NEW.n) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_no_update" BEFORE UPDATE ON "reading" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_no_delete" BEFORE DELETE ON "reading" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_no_replace" BEFORE INSERT ON "reading" WHEN EXISTS (SELECT 1 FROM "reading" WHERE fridge = NEW.fridge AND at = NEW.at AND entry = NEW.entry) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_conflict_no_update" BEFORE UPDATE ON "reading_conflict" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_conflict_no_delete" BEFORE DELETE ON "reading_conflict" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "reading_conflict_no_replace" BEFORE INSERT ON "reading_conflict" WHEN EXISTS (SELECT 1 FROM "reading_conflict" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "release_no_update" BEFORE UPDATE ON "release" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "release_no_delete" BEFORE DELETE ON "release" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "release_no_replace" BEFORE INSERT ON "release" WHEN EXISTS (SELECT 1 FROM "release" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "decision_no_update" BEFORE UPDATE ON "decision" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "decision_no_delete" BEFORE DELETE ON "decision" BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER "decision_no_replace" BEFORE INSERT ON "decision" WHEN EXISTS (SELECT 1 FROM "decision" WHERE id = NEW.id) BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER head_no_delete BEFORE DELETE ON head BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER head_one_row BEFORE INSERT ON head BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
CREATE TRIGGER head_goes_forward BEFORE UPDATE ON head WHEN NEW.entries <= OLD.entries BEGIN SELECT RAISE(ABORT, 'records are only added'); END;
COMMIT;
