DROP TRIGGER entry_is_guarded ON billing_journalentry;
DROP FUNCTION billing_guard_entry();
DROP FUNCTION billing_refuse(text, text);
