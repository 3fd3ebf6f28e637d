DROP TRIGGER bank_file_is_guarded ON billing_bankfile;
DROP FUNCTION billing_guard_bank_file();
DROP TRIGGER bank_line_is_guarded ON billing_bankline;
DROP FUNCTION billing_guard_bank_line();
